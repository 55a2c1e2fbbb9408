"""Run the notebooks and store their outputs, the way the tests expect them.

``python tests/tools/notebook_tools.py [NOTEBOOK ...]`` runs the named notebooks (all if none) and
saves them with their outputs but without widget state, so that a copy without a kernel shows each
chart as a picture.
"""

from __future__ import annotations

import sys
from pathlib import Path

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"


def refresh(path):
    """Execute one notebook in place.

    Parameters
    ----------
    path : Path
    """
    import nbformat
    from nbclient import NotebookClient

    notebook = nbformat.read(path, as_version=4)
    NotebookClient(
        notebook, timeout=120, kernel_name="python3", store_widget_state=False,
        coalesce_streams=True,
        resources={"metadata": {"path": str(path.parent)}},
    ).execute()  # fmt: skip
    notebook.metadata.pop("widgets", None)
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
    # The version of the Python that ran it would change with every machine.
    notebook.metadata["language_info"] = {"name": "python"}
    nbformat.write(notebook, path)


if __name__ == "__main__":
    for name in sys.argv[1:] or sorted(NOTEBOOKS.glob("[0-9]*.ipynb")):
        refresh(Path(name))
        print(f"ran {name}")
