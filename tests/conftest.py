"""Shared by all tests: helpers are imported as ``tests.NAME``; property tests are repeatable.

Every record that a command writes in a test is held to the schema that it names.
"""

import sys
from functools import wraps
from pathlib import Path

import pytest
from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parents[1]))

settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("repeatable")


@pytest.fixture(scope="session", autouse=True)
def _records_are_held_to_their_schemas():
    from dating.cli import records  # noqa: PLC0415
    from tests.records import hold  # noqa: PLC0415

    def held(write):
        @wraps(write)
        def writing(record):
            hold(record)
            return write(record)

        return writing

    with pytest.MonkeyPatch.context() as patch:
        for name in ("as_json", "as_yaml"):
            patch.setattr(records, name, held(getattr(records, name)))
        yield
