"""The status line of a report: what it rests on, and what is missing."""

from __future__ import annotations

import html
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np

from necrostats.registry import periods
from necrostats.registry.findings import SEVERITIES
from necrostats.registry.tables import Registry
from necrostats.report import markup
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
        return framed(f'<div class="{markup.STATUS}">{shown}</div>')


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
