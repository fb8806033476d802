"""The table or figure of one part of a case series, or a sentence that says why it is not there."""

from __future__ import annotations

import html
from dataclasses import dataclass

from necrostats.errors import unknown_choice
from necrostats.measures.abstract import CaseSeries
from necrostats.present.figures import Figure, chart
from necrostats.present.tables import Table, table
from necrostats.results import Listing
from necrostats.shown import framed

PARTS = {
    "flow": "",
    "cases": "patients are listed one by one only where they are fewer than a rate needs",
    "baseline": "",
    "baseline_by_group": "no groups were asked for",
    "necrosectomies": "",
    "ends": "resolution",
    "ends_by_group": "no groups were asked for",
    "sessions": "resolution",
    "sessions_by_group": "no groups were asked for",
    "time": "resolution",
    "time_by_group": "no groups were asked for",
    "recurrence": "resolution",
    "scan_schedule": "resolution",
    "sensitivity": "resolution",
    "events": "events",
    "events_by_group": "no groups were asked for",
    "grades": "events",
    "deaths": "",
    "follow_up": "",
    "differences": "no groups were asked for",
}
"""Each part, and why it may not be there: a figure that needs a record, or a reason in words."""


@dataclass(frozen=True, kw_only=True)
class NotThere:
    """Stands where a part of a case series would be."""

    reason: str

    def __str__(self) -> str:
        return self.reason

    def __repr__(self) -> str:
        return self.reason

    def _repr_html_(self) -> str:
        return framed(f"<p>{html.escape(self.reason)}</p>")


def _absent(series: CaseSeries, part: str) -> NotThere:
    name, why = part.replace("_", " "), PARTS[part]
    if why in series.lacking:
        return NotThere(reason=f"Not shown ({name}): it needs {series.lacking[why]}, not recorded here.")
    grouped = why == "no groups were asked for"
    if part == "cases" or (grouped and not series.by):
        return NotThere(reason=f"Not shown ({name}): {why}.")
    return NotThere(reason=f"Not shown ({name}): too few patients for it ({series.patients}).")


def _named(part: str) -> str:
    """The part by its name; ChoiceError for one off the list."""
    if part not in PARTS:
        raise unknown_choice("part of a case series", part, PARTS)
    return part


@table.register(CaseSeries)
def _(series: CaseSeries, *, part: str = "", **options) -> Table | NotThere:
    """The table of a part; without one, that chosen for print."""
    name = _named(part or series.table_for_print())
    return table(series.results[name], **options) if name in series.results else _absent(series, name)


@chart.register(CaseSeries)
def _(series: CaseSeries, *, part: str = "", **options) -> Figure | NotThere:
    """The figure of a part; without one, that chosen for print."""
    name = part or series.figure_for_print()
    if not name:
        return NotThere(reason="No figure is chosen for print: no result has one.")
    found = series.results.get(_named(name))
    return _absent(series, name) if found is None or isinstance(found, Listing) else chart(found, **options)
