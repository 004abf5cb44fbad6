"""What was asked for wrongly, told apart from files with wrong content."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import click


@contextmanager
def as_usage() -> Iterator[None]:
    """Make what is found wrong with a name on the command line wrong usage.

    Raises UsageError in place of an InputError.
    """
    from dating.reading import InputError  # noqa: PLC0415

    try:
        yield
    except InputError as error:
        raise click.UsageError(str(error)) from None
