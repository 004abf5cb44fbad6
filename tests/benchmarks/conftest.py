"""One thread of linear algebra, as the command itself uses."""

import pytest
from threadpoolctl import threadpool_limits


@pytest.fixture(autouse=True)
def one_thread():
    with threadpool_limits(limits=1):
        yield
