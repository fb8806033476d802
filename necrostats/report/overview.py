"""What a report rests on: the status line, and what was read, what was found and what was set aside, row by row."""

from __future__ import annotations

import html
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.registry import periods
from necrostats.registry.codebook import TABLES
from necrostats.registry.findings import SEVERITIES, in_order, place
from necrostats.registry.tables import Registry
from necrostats.report.typography import STATUS
from necrostats.results import Listing, Method, Population
from necrostats.shown import framed
from necrostats.visible import visible

HORIZON = 180
PERIOD_OF = "necrostats_period"
FINGERPRINT_LENGTH = 12


@dataclass(frozen=True, kw_only=True)
class Status:
    """One line for each of: what was counted, how far it reaches, where it came from, what is missing.

    A notebook that has been run keeps the `period` under review beside what is shown.
    """

    lines: tuple[str, ...]
    period: str = ""

    def __str__(self) -> str:
        return "\n".join(self.lines)

    def __repr__(self) -> str:
        return str(self)

    def _repr_mimebundle_(self, include=None, exclude=None) -> tuple[dict[str, str], dict[str, object]]:
        """What is shown, and the period as metadata: the page is named after it."""
        shown = {"text/html": self._repr_html_(), "text/plain": str(self)}
        return shown, {PERIOD_OF: self.period} if self.period else {}

    def _repr_html_(self) -> str:
        first, *further = (html.escape(line) for line in self.lines)
        shown = "".join(f"<p>{line}</p>" for line in (f"<strong>{first}</strong>", *further))
        return framed(f'<div class="{STATUS}">{shown}</div>')


def review_period(registry: Registry, period: str = "") -> str:
    """The period to review: the one given, or the last one the registry holds; ChoiceError for what is none."""
    if period:
        periods.parse(period)
    return period or (registry.periods[-1] if registry.periods else "")


def status(registry: Registry, *, period: str = "", horizon: int = HORIZON, outside: bool = False) -> Status:
    """What a report on this registry rests on; `horizon` is the day by which an outcome counts as matured.

    `outside`: for people outside the unit, without a count: only the quarters and the fingerprint.
    """
    period = review_period(registry, period) if period else ""
    if outside:
        return Status(lines=(_span(registry, period), _fingerprint(registry)), period=period)
    return Status(
        lines=(
            _counted(registry, period),
            _reach(registry, horizon),
            _origin(registry),
            _findings(registry),
            _missing(registry),
        ),
        period=period,
    )


def _counted(registry: Registry, period: str) -> str:
    span = f", {_from_to(registry.periods[0], registry.periods[-1])}" if registry.periods else ""
    about = f"; this review: {period}" if period else ""
    return f"{_count(len(registry.patients), 'patient')}, {_count(len(registry.sessions), 'session')}{span}{about}."


def _span(registry: Registry, period: str) -> str:
    known = registry.periods
    about = f"This page: {period}. " if period else ""
    return f"{about}The registry holds {_from_to(known[0], known[-1])}." if known else f"{about}The registry is empty."


def _fingerprint(registry: Registry) -> str:
    mark = registry.source.sha256[:FINGERPRINT_LENGTH]
    return f"Fingerprint of the data: {mark or 'none'}; read by necrostats {version('necrostats')}."


def _reach(registry: Registry, horizon: int) -> str:
    observed = registry.patients["observed_days"].to_numpy(dtype=float, na_value=np.nan)
    if not observed.size:
        return "When the records were frozen nobody had been observed."
    matured = int(np.count_nonzero(observed >= horizon))
    days = _from_to(f"{observed.min():,.0f}", f"{observed.max():,.0f}")
    return (
        f"The records were frozen (data lock) {days} days after the index drainage: "
        f"{matured:,} of {_count(observed.size, 'patient')} can be judged at day {horizon}."
    )


def _origin(registry: Registry) -> str:
    source = registry.source
    mark = f", fingerprint {source.sha256[:FINGERPRINT_LENGTH]} (SHA-256)" if source.sha256 else ""
    return f"Data: {visible(Path(source.name).name)}{mark}; read by necrostats {version('necrostats')}."


def _findings(registry: Registry) -> str:
    severity = registry.findings["severity"]
    stop, ask, note = (int(np.count_nonzero(severity == each)) for each in SEVERITIES)
    said = f"{stop:,} that stop, {ask:,} that ask, {_count(note, 'note')}"
    return f"Findings: {said}; set aside: {_set_aside(registry)}."


def _set_aside(registry: Registry) -> str:
    rows = int(np.count_nonzero(registry.set_aside["scope"] == "row"))
    cells = len(registry.set_aside) - rows
    return f"{_count(rows, 'row')}, {_count(cells, 'cell')}"


def _missing(registry: Registry) -> str:
    patients, sessions = registry.patients, registry.sessions
    unchecked = int((~sessions["events_checked"].fillna(False).astype(bool)).sum())
    gaps = (
        (int(sessions["period"].isna().sum()), len(sessions), "session", "without a period, so in no review"),
        (unchecked, len(sessions), "session", "without word that adverse events were looked for"),
        (_without_later(registry, "scans"), len(patients), "patient", "without a scan after day 0"),
        (_without_later(registry, "reviews"), len(patients), "patient", "without a review after day 0"),
    )
    named = [f"{gap:,} of {_count(whole, noun)} {what}" for gap, whole, noun, what in gaps if gap]
    return f"Missing: {'; '.join(named) or 'nothing of what outcomes and adverse events rest on'}."


def _from_to(first: str, last: str) -> str:
    return first if first == last else f"{first} to {last}"


def _without_later(registry: Registry, table: str) -> int:
    later = (registry.tables[table]["day"] > 0).fillna(False).to_numpy(dtype=bool)
    return len(registry.patients) - np.unique(registry.position(table)[later]).size


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


HEADINGS = {
    "stops": "Findings that stop: the value or row is set aside until it is corrected",
    "asks": "Findings that ask: the value is kept, and somebody should look",
    "notes": "Notes",
}


def what_was_read(registry: Registry) -> Listing:
    """One row a table: rows read, rows kept, rows set aside."""
    read, kept = registry.source.rows_read, registry.source.rows_kept
    rows = [
        {
            "table": name,
            "one row is": TABLES[name].row,
            "rows_read": read.get(name, len(frame)),
            "rows_kept": kept.get(name, len(frame)),
            "rows_set_aside": read.get(name, len(frame)) - kept.get(name, len(frame)),
        }
        for name, frame in registry.tables.items()
    ]
    return _listing("What was read", pd.DataFrame(rows), registry, "rows of the source, table by table")


def list_findings(registry: Registry, severity: str) -> Listing:
    """The findings that "stops", "asks" or "notes" names, one row each: where, the value as written, what to do."""
    if severity not in SEVERITIES:
        raise unknown_choice("severity", severity, SEVERITIES)
    found = in_order(registry.findings)
    chosen = found[found["severity"] == severity]
    rows = [
        {"where": place(row), "as_written": row.value, "problem": row.problem, "what_to_do": row.remedy}
        for row in chosen.itertuples()
    ]
    table = pd.DataFrame(rows, columns=["where", "as_written", "problem", "what_to_do"])
    return _listing(HEADINGS[severity], table, registry, "every finding of this kind")


def count_findings(registry: Registry) -> Listing:
    """The findings counted by kind, table and column, without a row, an id or a value."""
    columns = ["severity", "table", "column", "rule"]
    counted = _occurring(in_order(registry.findings), columns)
    words = counted["rule"].str.replace("_", " ").str.lower()
    return _listing("Findings, counted", counted.assign(rule=words), registry, "every finding, counted by its kind")


def list_set_aside(registry: Registry) -> Listing:
    """What was set aside, counted by table, scope and rule."""
    counted = _occurring(registry.set_aside, ["table", "scope", "rule"])
    return _listing("Set aside", counted, registry, "every row and cell that was set aside, counted by its reason")


def _occurring(frame: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """How often each combination occurs, in order of first appearance."""
    return frame.groupby(columns, observed=True, sort=False, dropna=False).size().rename("count").reset_index()


def _listing(title: str, table: pd.DataFrame, registry: Registry, rows: str) -> Listing:
    method = Method(estimand="a listing, not an estimate", estimator=rows, interval="", level=0.95)
    return Listing(title=title, frame=table, population=Population(patients=len(registry.patients)), method=method)
