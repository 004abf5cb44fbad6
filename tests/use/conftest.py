"""What is written and learned once for all tests of use."""

import pytest

from tests.serving import copied_demo
from tests.use.commands import dating, first_lots, success
from tests.use.works import concertina_works, drafted_works, lyre_files

FORMATS = ("markdown", "html", "word", "pdf", "linked-art")


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """A copy of the demo, in which nothing is written."""
    return copied_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="session")
def sale(tmp_path_factory):
    """Three lots of the invented sale, in every format."""
    folder = copied_demo(tmp_path_factory.mktemp("house"))
    first_lots(folder / "demo_data" / "three.csv", 3)
    formats = [word for form in FORMATS for word in ("--as", form)]
    success(
        dating("sale", "demo_data/three.csv", "--out", "sale", *formats, cwd=folder),
    )
    return folder / "sale"


@pytest.fixture
def lyres(tmp_path):
    """Every kind of file about a small maker, in a folder of one's own."""
    return lyre_files(tmp_path / "lyres")


@pytest.fixture(scope="session")
def concertinas(tmp_path_factory):
    """A maker of one feature, and what was learned of it."""
    return concertina_works(tmp_path_factory.mktemp("concertinas"))


@pytest.fixture(scope="session")
def drafted(tmp_path_factory):
    """A drafted maker of free-form features, and what was learned of it."""
    return drafted_works(tmp_path_factory.mktemp("drafted"))
