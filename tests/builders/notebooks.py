"""Tiny template notebooks for tests of the machinery around them."""

from __future__ import annotations

from pathlib import Path

import nbformat

PARAMETERS = 'source: str = ""  # the data\nperiod: str = ""  # the quarter\nlevel: float = 0.95  # of intervals'


def text(source: str, name: str = "text") -> nbformat.NotebookNode:
    """A markdown cell."""
    return nbformat.v4.new_markdown_cell(source, id=name)


def code(source: str, name: str = "code", *, tags: tuple[str, ...] = (), shows: str = "") -> nbformat.NotebookNode:
    """A code cell; `shows` is the HTML it has put out."""
    outputs = [nbformat.v4.new_output("execute_result", {"text/html": shows}, execution_count=7)] if shows else []
    return nbformat.v4.new_code_cell(source, id=name, metadata={"tags": list(tags)}, outputs=outputs)


def notebook(*cells: nbformat.NotebookNode, parameters: str = PARAMETERS) -> nbformat.NotebookNode:
    """A notebook with a cell of parameters in front."""
    named = [nbformat.from_dict({**cell, "id": f"{cell['id']}-{place}"}) for place, cell in enumerate(cells)]
    return nbformat.v4.new_notebook(cells=[code(parameters, "parameters", tags=("parameters",)), *named])


def saved(folder: Path, *cells: nbformat.NotebookNode, name: str = "tiny", parameters: str = PARAMETERS) -> Path:
    """The path of a notebook written to `folder`."""
    path = folder / f"{name}.ipynb"
    nbformat.write(notebook(*cells, parameters=parameters), path)
    return path
