"""Date production instruments without serial numbers: evidence in, a posterior over months out.

The names below are the whole public interface. They are imported on first use, so that the
command starts quickly.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dating.batch import estimate_many, posteriors
    from dating.calibration.verdict import calibrate
    from dating.claims.files import read_claims
    from dating.claims.weighing import weigh
    from dating.estimates import Estimate, estimate
    from dating.examination import Examination
    from dating.files import find_maker, read_examination, read_maker
    from dating.learning.corpus import read_corpus
    from dating.learning.drafting import draft
    from dating.learning.files import read_learned
    from dating.learning.run import learn
    from dating.maker import Maker
    from dating.notes.note_files import write_note
    from dating.reading import InputError
    from dating.succession.comparison import Comparison
    from dating.succession.files import read_group
    from dating.succession.run import compare
    from dating.tabulation import month_tables

_HOMES = {
    "Comparison": "succession.comparison",
    "Estimate": "estimates",
    "Examination": "examination",
    "InputError": "reading",
    "Maker": "maker",
    "calibrate": "calibration.verdict",
    "compare": "succession.run",
    "draft": "learning.drafting",
    "estimate": "estimates",
    "estimate_many": "batch",
    "find_maker": "files",
    "learn": "learning.run",
    "month_tables": "tabulation",
    "posteriors": "batch",
    "read_claims": "claims.files",
    "read_corpus": "learning.corpus",
    "read_examination": "files",
    "read_group": "succession.files",
    "read_learned": "learning.files",
    "read_maker": "files",
    "weigh": "claims.weighing",
    "write_note": "notes.note_files",
}

__all__ = [
    "Comparison",
    "Estimate",
    "Examination",
    "InputError",
    "Maker",
    "calibrate",
    "compare",
    "draft",
    "estimate",
    "estimate_many",
    "find_maker",
    "learn",
    "month_tables",
    "posteriors",
    "read_claims",
    "read_corpus",
    "read_examination",
    "read_group",
    "read_learned",
    "read_maker",
    "weigh",
    "write_note",
]
__version__: str


def __dir__() -> list[str]:
    """Name what is public, imported or not."""
    return sorted({*__all__, "__version__", *(name for name in globals() if name[:2] == "__")})


def __getattr__(name: str) -> Any:
    """Import a public name on first use."""
    if name == "__version__":
        return _version()
    if name not in _HOMES:
        raise AttributeError(f"module 'dating' has no attribute {name!r}")
    value = getattr(import_module(f"dating.{_HOMES[name]}"), name)
    globals()[name] = value
    return value


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version  # noqa: PLC0415

    try:
        return version("instrument-dating")
    except PackageNotFoundError:
        raise AttributeError("the package is not installed, so it has no __version__") from None
