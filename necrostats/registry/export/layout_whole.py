"""What only the whole layout shows: no patients, no index drainage, a heading used twice."""

from __future__ import annotations

from collections import Counter

from necrostats.registry.export.layout import Layout, SheetLayout
from necrostats.registry.export.layout_keys import Problems
from necrostats.registry.export.names import folded
from necrostats.registry.export.targets import is_date


def check_whole(layout: Layout, problems: Problems) -> None:
    """Adds what is wrong with the layout as a whole."""
    makers = [rows for _, rows in layout.makers()]
    if not any(rows.table == "patients" for rows in makers):
        problems.add("sheet.rows", "nothing makes patients", 'Add [[sheet.rows]] with table = "patients".')
    dated = any(is_date(rows.table, column.to) and not column.days for rows in makers for column in rows.columns)
    if dated and not any(rows.index or rows.holds("index_date") for rows in makers):
        problems.add(
            "sheet.rows", "it is not said which date is the index drainage",
            'Write index = true in the [[sheet.rows]] of the drainage, or "Heading" = "index_date" for patients.',
        )  # fmt: skip
    if sum(sheet.each_row_is_a_patient for sheet in layout.sheets) > 1:
        problems.add(
            "sheet.each_row_is_a_patient", "several sheets make a new patient of each row",
            "Name the column that says who the patient is.",
        )  # fmt: skip
    for number, sheet in enumerate(layout.sheets, start=1):
        _check_sheet(sheet, f"sheet[{number}]", problems, named=len(layout.sheets) == 1)
    names = Counter(folded(name) for sheet in layout.sheets for name in sheet.names)
    for name in [name for name, count in names.items() if count > 1]:
        problems.add("sheet.name", "two [[sheet]] have this name", "Put all that it makes under one [[sheet]].", name)


def _check_sheet(sheet: SheetLayout, place: str, problems: Problems, *, named: bool) -> None:
    if not sheet.names and not named:
        problems.add(f"{place}.name", "there is no name", "Only the layout of one single csv file may leave it out.")
    ignored = {folded(name) for name in sheet.ignore}
    for heading in dict.fromkeys(sheet.headings()):
        if folded(heading) in ignored:
            problems.add(
                f"{place}.ignore", "is ignored and mapped at the same time", "Take it away in one place.", heading
            )
    for rows in sheet.rows:
        mapped = Counter(
            folded(column.heading) for _, columns in rows.each_number() for column in columns
        )
        for heading in [heading for heading, count in mapped.items() if count > 1]:
            problems.add(f"{place}.rows.columns", "is mapped twice in one group", "Take one away.", heading)
    dates = [column for rows in sheet.rows for column in rows.columns if not is_date(rows.table, column.to)]
    several = Counter(folded(column.heading) for column in dates)
    for heading in [heading for heading, count in several.items() if count > 1]:
        problems.add(
            f"{place}.rows.columns", "is mapped in several groups, and is not a date", "Take one away.", heading
        )
