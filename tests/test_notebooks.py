"""Notebooks run, and print the numbers they were stored with."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted(Path("notebooks").glob("*.ipynb"))


def printed(cell):
    """Everything a cell prints, in whatever portions the kernel sent it."""
    return "".join(
        output.get("text") or output["data"].get("text/plain", "")
        for output in cell.get("outputs", [])
        if output.output_type in {"stream", "execute_result"}
    )


def test_there_is_a_notebook():
    assert NOTEBOOKS


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_prints_what_it_was_stored_with(file):
    stored = nbformat.read(file, as_version=4)
    fresh = nbformat.read(file, as_version=4)
    client = NotebookClient(fresh, timeout=300, resources={"metadata": {"path": "notebooks"}})
    client.execute()
    cells = [cell for cell in stored.cells if cell.cell_type == "code"]
    assert any(printed(cell) for cell in cells)
    for before, after in zip(stored.cells, fresh.cells, strict=True):
        if before.cell_type == "code":
            assert printed(after) == printed(before), before.source
