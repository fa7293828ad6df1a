"""Run notebooks afresh and store only the outputs that the tests compare.

    .venv/bin/python tests/refresh_notebooks.py notebooks

Running it twice gives the same bytes, so a diff shows only code, text and checked numbers.
"""

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

CHECKED = "nbval-check-output"


def refresh(path: Path) -> None:
    """Execute one notebook in its own folder and rewrite it."""
    book = nbformat.read(path, as_version=4)
    where = {"metadata": {"path": str(path.parent)}}
    NotebookClient(book, timeout=300, kernel_name="python3", store_widget_state=False, resources=where).execute()
    for number, cell in enumerate(book.cells):
        cell.id = f"cell-{number:02d}"
        if cell.cell_type != "code":
            continue
        cell.metadata.pop("execution", None)
        if path.parent.name == "lessons":  # who learns need not read code, and may still ask for it
            cell.metadata["jupyter"] = {"source_hidden": True}
        if CHECKED not in cell.metadata.get("tags", []):
            cell.outputs, cell.execution_count = [], None
    book.metadata = nbformat.from_dict(
        {
            "kernelspec": {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"},
            "language_info": {"name": "python"},
        }
    )
    nbformat.write(book, path)


if __name__ == "__main__":
    for book_path in sorted(Path(sys.argv[1]).rglob("*.ipynb")):
        if ".ipynb_checkpoints" not in book_path.parts:
            refresh(book_path)
            print("refreshed", book_path)
