"""The plan for the bench in words: which operations and looks are told, and how."""

from __future__ import annotations

from dating.advice import Advice
from dating.estimates import Estimate
from dating.plan import Operation, cautions_of
from dating.statements import plain_name
from dating.stories import SecondLook
from dating.words.phrases import percent, set_words
from dating.words.set_forms import FEW

LEAST = 0.005
"""Bits below which a look is not worth telling."""
MOST_LOOKS = 6
MOST_OPERATIONS = 3
MOST_FREE = 4
MOST_AGAIN = 4
_EVEN = 0.5


def plan_told(estimate: Estimate) -> list[tuple[Operation, tuple[Advice, ...]]]:
    """Choose the operations and the looks that are told.

    The first operations of the plan, each with its most telling look; the room that is left goes
    to the next looks that are free and safe, up to four, and then to the most telling others.
    """
    worth = [
        (operation, [look for look in operation.looks if look.bits >= LEAST])
        for operation in estimate.plan
    ]
    told = [(operation, looks) for operation, looks in worth if looks][:MOST_OPERATIONS]
    free = [look for operation, looks in told if operation.is_free for look in looks[1:MOST_FREE]]
    others = [look for _, looks in told for look in looks[1:] if look not in free]
    others = [*free, *sorted(others, key=lambda look: -look.bits)]
    room = {look.name for look in others[: MOST_LOOKS - len(told)]}
    return [
        (operation, (looks[0], *(look for look in looks[1:] if look.name in room)))
        for operation, looks in told
    ]


def operation_words(operation: Operation) -> str:
    """Say what has to be done first, how invasive that is, and what it tells in all.

    Examples
    --------
    >>> operation_words(Operation("back off", (), 1.25, 1, "low", ()))
    'First: back off; how invasive: low. 1.25 bits.'
    """
    first = f"First: {operation.name}" if operation.name else "Nothing to be done first"
    return f"{first}; how invasive: {operation.invasive}. {_gain(operation)}."


def _gain(operation: Operation) -> str:
    bits, looks = f"{operation.bits:.2f} bits", len(operation.looks)
    if operation.counted < looks:
        return f"{bits} from the {operation.counted} most telling of its {looks} looks"
    return bits if looks <= 1 else f"{bits} from its {looks} looks together"


def look_words(advice: Advice) -> str:
    """Write how a look is taken as a sentence; empty where that is not stated."""
    return f"{advice.how[:1].upper()}{advice.how[1:].rstrip('.')}." if advice.how else ""


def caution_words(operation: Operation, looks: tuple[Advice, ...]) -> str:
    """Write as a sentence what to beware of at the looks that are told; empty where nothing is.

    Whoever does something first has to beware of all that it brings.
    """
    cautions = operation.cautions if operation.name else cautions_of(looks)
    return f"Caution: {'; '.join(cautions)}." if cautions else ""


def again_words(estimate: Estimate) -> str:
    """Say what to look at again first, where what was seen clashes; empty where nothing does."""
    looks = estimate.second_looks[:MOST_AGAIN]
    named = "; ".join(_again(look, estimate) for look in looks)
    return f"First of all, look again: {named}." if looks else ""


def _again(look: SecondLook, estimate: Estimate) -> str:
    """Say what follows if something is at fault or not, whichever is less expected."""
    unexpected = look.at_fault <= _EVEN
    chance, months = (look.at_fault, look.wrong) if unexpected else (1 - look.at_fault, look.right)
    if_so = "not of the build" if unexpected else "of the build after all"
    then = set_words(months, estimate.period, FEW)
    return (
        f"{_seen_name(look.name, estimate)} ({look.bits:.2f} bits; {if_so} with probability "
        f"{percent(chance)}, then {then})"
    )


def _seen_name(name: str, estimate: Estimate) -> str:
    """Name what was seen: a document by what it is."""
    if not name.startswith("document "):
        return plain_name(name)
    return estimate.examination.paper(name).what


def skip_words(estimate: Estimate) -> str:
    """Say which operations the plan leaves out; empty where it leaves out none."""
    names = "; ".join(estimate.not_today)
    return f"Not today: {names}." if names else ""
