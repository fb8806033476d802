"""What every measure returns: a tidy table, who was counted, how, and what to beware of."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import ClassVar

import pandas as pd

from necrostats.shown import framed
from necrostats.visible import visible

DIGITS = 4
"""Significant digits of a number as a notebook shows it; `frame` holds all of them."""

NOTE_CODES = (
    "CLUSTER_IGNORED",
    "FEW_CLUSTERS",
    "ZERO_EVENTS",
    "SEPARATION",
    "SINGULAR",
    "NOT_CONVERGED",
    "INTERVAL_CENSORED",
    "SCAN_GAP_IMBALANCE",
    "IMMORTAL_TIME",
    "LEFT_TRUNCATION",
    "COMPETING_AS_CENSORED",
    "SHARED_SESSIONS",
    "ZERO_YIELD",
    "SMALL_N",
    "SMALL_RISK_SET",
    "NOT_REACHED",
    "OVERDISPERSED",
    "BASELINE_SHORT",
    "MULTIPLICITY",
    "MISSING",
    "NO_OVERLAP",
    "NOT_MATURED",
    "TWO_SCALES",
    "NON_PROPORTIONAL",
    "MEDIAN_ON_PLATEAU",
    "NO_LIMITS",
    "FEW_RESAMPLES",
    "NOT_RECORDED",
)


@dataclass(frozen=True, kw_only=True)
class Note:
    """A caution: a code from NOTE_CODES and a plain sentence with the numbers in it."""

    code: str
    text: str

    def __post_init__(self) -> None:
        if self.code not in NOTE_CODES:
            raise ValueError(f"{self.code} is not a note code")


@dataclass(frozen=True, kw_only=True)
class Population:
    """Who was counted, and who was left out and why (reason → count, in a unit the reason names)."""

    patients: int
    collections: int | None = None
    sessions: int | None = None
    left_out: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        kept = {reason: int(count) for reason, count in self.left_out.items() if count}
        object.__setattr__(self, "left_out", MappingProxyType(kept))


@dataclass(frozen=True, kw_only=True)
class Method:
    """How a figure was made, in sentences a reviewer can check."""

    estimand: str
    estimator: str
    interval: str
    level: float
    definition: str = ""
    references: tuple[str, ...] = ()


def _shown(cell: object) -> str:
    if pd.isna(cell):
        return ""
    if isinstance(cell, float) and math.isinf(cell):
        return "no upper limit" if cell > 0 else "no lower limit"
    return f"{cell:.{DIGITS}g}" if isinstance(cell, float) and not cell.is_integer() else str(cell)


def _look(column: pd.Series) -> str:
    """The class of a column's cells: numbers stand to the right, words to the left."""
    numeric = pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)
    return ' class="number"' if numeric else ""


def _safe(text: object) -> str:
    return html.escape(visible(str(text)))


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """Base of the four kinds. `frame` is tidy, with the columns its kind names, in that order."""

    columns: ClassVar[tuple[str, ...]] = ()

    title: str
    frame: pd.DataFrame
    population: Population
    method: Method
    notes: tuple[Note, ...] = ()

    def __post_init__(self) -> None:
        missing = [name for name in self.columns if name not in self.frame.columns]
        if missing:
            raise ValueError(f"{type(self).__name__} needs the columns {', '.join(missing)}")

    def __repr__(self) -> str:
        return f"{type(self).__name__}: {self.title} ({self.population.patients} patients, {len(self.frame)} rows)"

    def _repr_html_(self) -> str:
        looks = [_look(column) for _, column in self.frame.items()]
        head = "".join(
            f'<th scope="col"{look}>{_safe(name)}</th>' for name, look in zip(self.frame.columns, looks, strict=True)
        )
        rows = "".join(
            "<tr>"
            + "".join(f"<td{look}>{_safe(_shown(cell))}</td>" for cell, look in zip(row, looks, strict=True))
            + "</tr>"
            for row in self.frame.itertuples(index=False, name=None)
        )
        notes = "".join(f"<li>{_safe(note.text)}</li>" for note in self.notes)
        caption = _safe(self.title)
        table = f"<table><caption>{caption}</caption><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
        return framed(table + (f"<ul>{notes}</ul>" if notes else ""))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Unanswered(Result):
    """A question that the registry cannot answer: `frame` has no row, and the first note says what is not recorded."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Listing(Result):
    """Rows to be read one by one, with the columns they need: a case list, a list of findings."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Courses(Listing):
    """What was recorded of each patient, one row a record.

    `patient` is a number in the order of this listing. `what` says what it is; "course" runs from day 0 to the end
    of the course (`outcome`) and "follow-up" from there to the last contact. `day_to` is the last day of what lasts
    and the latest day of what is dated to a range. `horizon` is the last day that counts for `outcome`.
    """

    columns: ClassVar[tuple[str, ...]] = (
        "patient",
        "group",
        "outcome",
        "what",
        "detail",
        "day",
        "day_to",
        "size_mm",
        "grade",
    )

    horizon: int = 0


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Rates(Result):
    """Events over a denominator, one row for each variable, group and unit.

    `events` and `n` are in the unit of the row (`n` patients, sessions or days of exposure);
    `estimate`, `low` and `high` are `events / n` times `per` (1, or 100 for a rate per 100 days).
    """

    columns: ClassVar[tuple[str, ...]] = (
        "variable",
        "group",
        "unit",
        "events",
        "n",
        "per",
        "estimate",
        "low",
        "high",
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Quarters(Rates):
    """Indicators (`variable`) by quarter (`group`), with what a frozen baseline lets expect of each.

    `centre` is the baseline's share, `expected_low` and `expected_high` the counts that are still compatible with it,
    `action_low` and `action_high` the limits beyond which a count is a `signal`. `verdict` stands in the row that is
    judged of each indicator: that of `quarter` (several quarters may be one: "2025Q3..2026Q2"), or of the last that has
    matured; `baseline` names its stretch in words, and `phases` the quarters in which the unit changed something, with
    what. `target` says whether the unit's own target is met.
    """

    columns: ClassVar[tuple[str, ...]] = (
        *Rates.columns,
        "centre",
        "expected_low",
        "expected_high",
        "action_low",
        "action_high",
        "baseline_events",
        "baseline_n",
        "baseline_quarters",
        "signal",
        "verdict",
        "target",
        "name",
    )

    quarter: str = ""
    baseline: str = ""
    phases: tuple[tuple[str, str], ...] = ()

    def judged(self) -> pd.DataFrame:
        """The rows that are judged, one an indicator."""
        return self.frame[self.frame["verdict"] != ""]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Estimates(Result):
    """Figures with an interval that are not events over a denominator, one row for each measure, variable and group.

    `measure` says in words what `estimate` is, and `unit` in what: "share" (0 to 1), "difference of shares",
    "days", "sessions", or "difference in sessions" and the like. They rest on `n` of `of` ("patients", "sessions"),
    `events` of which had what is counted (blank where nothing is). NaN = not known; of a median, not reached.
    """

    columns: ClassVar[tuple[str, ...]] = (
        "measure",
        "variable",
        "group",
        "unit",
        "of",
        "events",
        "n",
        "estimate",
        "low",
        "high",
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Curves(Result):
    """Step functions over `days` or `sessions`, one row for each group, cause and point in time.

    `at_risk` is counted just before the point. `landmarks` are the points named in advance: each has a row.
    `medians` has one row for each group and cause: estimate (NaN = not reached), low, high.
    `falling`: the share still free of the cause, from 1 downwards, and not the share that has had it. `remaining`
    names the cause that stands for the share with none of the others: they add up to 1 and are drawn stacked.
    `of` says what is counted at risk: "patients", "collections". `beside`: sentences without which a share of the
    curve could mislead, so that they stand wherever it is put into words.
    """

    columns: ClassVar[tuple[str, ...]] = (
        "group",
        "cause",
        "at_risk",
        "events",
        "censored",
        "estimate",
        "low",
        "high",
    )

    landmarks: tuple[int, ...] = ()
    medians: pd.DataFrame = field(default_factory=pd.DataFrame)
    falling: bool = False
    remaining: str = ""
    of: str = "patients"
    beside: tuple[str, ...] = ()

    @property
    def axis(self) -> str:
        """The column that holds time: `days` or `sessions`."""
        return "sessions" if "sessions" in self.frame.columns else "days"

    def at_landmarks(self) -> pd.DataFrame:
        """The rows of `frame` at the points named in advance."""
        return self.frame[self.frame[self.axis].isin(self.landmarks)]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Comparison(Result):
    """Contrasts of a group with a reference, one row for each contrast."""

    columns: ClassVar[tuple[str, ...]] = (
        "group",
        "reference",
        "measure",
        "estimate",
        "low",
        "high",
        "statistic",
        "p_value",
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class YieldComparison(Comparison):
    """Ratios of yields between classes of instrument, one row for each kind of model and class.

    `sessions`, `patients` and the same with `_ref` count what each contrast rests on; `primary` marks the contrast
    named in advance. `cells` has a row a class: what was recorded of it and whether it is in the models. `amounts`
    holds every yield that counts: patient (a number in this listing), group, low, high. `reference` and `chosen` are
    the two classes of the primary contrast, "" where there is none.
    """

    columns: ClassVar[tuple[str, ...]] = (
        *Comparison.columns,
        "variable",
        "sessions",
        "patients",
        "sessions_ref",
        "patients_ref",
        "primary",
    )

    cells: pd.DataFrame = field(default_factory=pd.DataFrame)
    amounts: pd.DataFrame = field(default_factory=pd.DataFrame)
    reference: str = ""
    chosen: str = ""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Specifications(Comparison):
    """One contrast estimated in many ways, sorted by estimate: `rule` and `adjusted_for` say what went into each.

    `verdict` is the sentence that they allow together.
    """

    columns: ClassVar[tuple[str, ...]] = (*Comparison.columns, "rule", "adjusted_for", "sessions", "patients")

    verdict: str = ""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Summary(Result):
    """Descriptions of variables, one row for each variable, level and group.

    `measure` says what `estimate`, `low` and `high` are: "share" (events / n; low and high blank or an interval),
    "median" (with quartiles), "geometric mean" (with an interval) or "count" (events of n; nothing estimated). `n`
    have a value, `missing` do not; `patients` is the number of patients behind `n`.
    """

    columns: ClassVar[tuple[str, ...]] = (
        "variable",
        "level",
        "group",
        "measure",
        "events",
        "n",
        "missing",
        "patients",
        "estimate",
        "low",
        "high",
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Answer(YieldComparison):
    """The primary contrast of yields, with the verdict over the rules and what these data could tell."""

    verdict: str = ""
    said: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Overlap(Summary):
    """How many sessions each class (`group`) has at each level of what must be alike: `measure` "count", events of n.

    `events` are the sessions of the class at that level, `patients` theirs, `n` all sessions of the class.
    """


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Statements(Listing):
    """A listing whose findings are sentences of its own: `said`, in order."""

    said: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Restatement(Statements):
    """Figures no longer what they were at a lock, one row for each indicator (`variable`) and quarter (`group`).

    `events_then` of `n_then` at the lock, `events` of `n` today, and `why` in words. `figures` has the same columns but
    `why` for every figure that was compared. `changes` has a row for each cause of a change: `reason` is one of
    "definition changed", "added", "corrected", "removed", "matured" and "not explained"; `table`, `record`, `patient`
    and `column` say where, `was` and `now` what.
    """

    columns: ClassVar[tuple[str, ...]] = ("variable", "group", "events_then", "n_then", "events", "n", "why")

    figures: pd.DataFrame = field(default_factory=pd.DataFrame)
    changes: pd.DataFrame = field(default_factory=pd.DataFrame)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Suppressed(Listing):
    """Counts for people outside the unit, one row a count: `events` of `n`, NaN where one of them is hidden.

    With a count its share and limits are hidden. `threshold` is the smallest count above 0 that may be shown.
    """

    columns: ClassVar[tuple[str, ...]] = (
        "section",
        "what",
        "level",
        "events",
        "n",
        "estimate",
        "low",
        "high",
        "verdict",
    )

    threshold: int = 5


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Trajectories(Summary):
    """Sizes of collections over time: a median with quartiles for each window of days (`level`) and group.

    `windows` has a row for each row of `frame`, in its order: day_from, day_to, and `day`, the median day of the
    values used. `series` holds every value: collection (a number in this listing), group, day, value.
    """

    windows: pd.DataFrame = field(default_factory=pd.DataFrame)
    series: pd.DataFrame = field(default_factory=pd.DataFrame)
