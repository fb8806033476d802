"""Everything that a folder of outputs says, workbooks among them, as text."""

from __future__ import annotations

from pathlib import Path

import openpyxl


def text_in(path: Path) -> str:
    """The text of a file; of a workbook that of all its cells, a line each."""
    if path.suffix != ".xlsx":
        return path.read_text(encoding="utf-8")
    cells = (
        cell for sheet in openpyxl.load_workbook(path) for row in sheet.iter_rows(values_only=True) for cell in row
    )
    return "\n".join(str(cell) for cell in cells if cell is not None)
