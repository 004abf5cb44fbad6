"""What records of several kinds have in common."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

type Probability = Annotated[float, Field(ge=0, le=1)]
type Month = Annotated[str, Field(pattern="^-?[0-9]{4,}-(0[1-9]|1[0-2])$")]
type Sum = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
type Invasive = Literal["none", "low", "moderate", "high"]


class Record(BaseModel):
    """Part of a record: every key is there, and no other."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class ReadFile(Record, title="A file that was read"):
    """A file, and what it held."""

    file: str = Field(description="The file, as it was named.")
    sha256: str = Field(description="SHA-256 of its bytes; empty where it was made in Python.")


class Stretch(Record, title="A stretch of months"):
    """Months without a gap."""

    first: Month = Field(description="The first month.")
    last: Month = Field(description="The last month, included.")
    probability: Probability = Field(description="Probability of the stretch.")


class Months(Record, title="A set of months"):
    """Months that hold a share of the probability."""

    level: Probability = Field(description="Probability that was asked for.")
    probability: Probability = Field(description="Probability that the set holds.")
    months: int = Field(description="How many months are in it.")
    stretches: list[Stretch] = Field(description="Its stretches, in order.")
    edtf: str = Field(description="The set as one EDTF expression.")


class Draws(Record, title="How sound the draws are"):
    """The diagnostics of the draws of what was learned."""

    sound: bool = Field(description="Whether a date may rest on them.")
    divergences: int = Field(description="How many draws diverged.")
    sentence: str = Field(description="What is not in order; empty where all is.")
    maker_file_changed: str = Field(
        description="What was edited in the maker file since; empty where nothing was."
    )


class CorrectedLevels(Record, title="Corrected levels"):
    """A correction of levels, and what sets held before it."""

    instruments: int = Field(description="Instruments that it was learned from.")
    held: dict[str, Probability] = Field(
        description="Share of their dates that sets held before the correction, by level."
    )


class LatentVariants(Record, title="Latent variants"):
    """What stands behind free-form features."""

    features: list[str] = Field(description="The free-form features.")
    variants: int = Field(description="How many latent variants there are; 1 where none.")
    fits: int = Field(description="How many fits stand beside each other.")
    log_score_gain: float = Field(
        description="Mean log score of instruments left out, with latent variants less without."
    )
    standard_error: float = Field(description="Standard error of that gain.")
