"""truth.csv: every cell that is not empty, as written, and what it must become."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from xlsxwriter.utility import xl_col_to_name

from messy_export.cells import HEADING, as_written
from messy_export.grid import Grid
from messy_export.workbook import TITLE

HEADER = ("sheet", "row", "column", "written", "patient", "becomes", "reading", "mess")


def write_truth(path: Path, grids: tuple[Grid, ...]) -> None:
    """Write the truth of all sheets to `path`."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(HEADER)
    for grid in grids:
        if grid.tall:
            writer.writerow((grid.name, 1, "A", TITLE, "", HEADING, "", ""))
        for (row, column), cell in sorted(grid.cells.items()):
            place = (grid.name, row, xl_col_to_name(column - 1))
            writer.writerow(
                (
                    *place,
                    as_written(cell.typed.value),
                    cell.patient,
                    cell.becomes,
                    cell.reading,
                    cell.typed.mess,
                )
            )
    path.write_text(text.getvalue(), encoding="utf-8", newline="")
