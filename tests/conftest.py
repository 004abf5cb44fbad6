"""Shared by all tests: helpers are imported as ``tests.NAME``; property tests are repeatable."""

import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parents[1]))

settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("repeatable")
