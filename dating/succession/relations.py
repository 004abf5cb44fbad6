from dataclasses import dataclass


@dataclass(frozen=True)
class OlderBy:
    instruments: tuple
    at_least: int = 0
    at_most: int | None = None


@dataclass(frozen=True)
class ApartAtMost:
    instruments: tuple
    at_most: int


@dataclass(frozen=True)
class SameBatch:
    instruments: tuple
    within: int


@dataclass(frozen=True)
class Photographed:
    instruments: tuple
    date: object


@dataclass(frozen=True)
class Consecutive:
    instruments: tuple
    within: int


@dataclass(frozen=True)
class Relation:
    content: object
    trust: float = 0.98
    source: str = ""


@dataclass(frozen=True)
class Group:
    known: tuple
