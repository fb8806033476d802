"""Published figures with our own beside them, each recomputed as its authors counted it: context, never a rank."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from necrostats.definitions.benchmarks import BENCHMARKS, DEATH, OTHER, RESOLVED, Benchmark, PublishedFigure, Stated
from necrostats.definitions.outcomes import end_days, outcomes
from necrostats.measures.adverse_events import adverse_event_rates
from necrostats.measures.grouping import counted
from necrostats.measures.needs import Need, of_events, of_resolution
from necrostats.registry.tables import Registry
from necrostats.results import Method, Population, Statements
from necrostats.stats.proportions import clopper_pearson

CONTEXT = (
    "Published figures are context: they come from another case mix, other definitions and another time. "
    "They are never a pass mark, and their order is that of the years, never a rank."
)
FROM_MEMORY = "Most published values and all citations were written from memory: check the paper before quoting one."
CANNOT = "cannot be recomputed"
COLUMNS = (
    "published",
    "arm",
    "figure",
    "counted_as",
    "their_events",
    "their_n",
    "their_percent",
    "their_low",
    "their_high",
    "provenance",
    "our_events",
    "our_n",
    "our_percent",
    "our_low",
    "our_high",
    "remark",
    "unit",
    "design",
    "patients",
    "period",
    "sessions",
    "follow_up",
    "citation",
)
COUNTS = ("their_events", "their_n", "our_events", "our_n")
PERCENTAGES = ("their_percent", "their_low", "their_high", "our_percent", "our_low", "our_high")


def against_published(registry: Registry, *, level: float = 0.95) -> Statements:
    """Each published figure with our own beside it, recomputed as nearly as possible as its authors counted it.

    One row a figure, in the order of the years. `their_` and `our_` columns hold events, denominator (in `unit`), and
    the percentage with its exact limits; `remark` says why a figure cannot be recomputed, or that nobody can be
    counted. Percentages run from 0 to 100; blank = not known. Raises StatisticsError for a level that cannot be.

    Counted: deaths, of patients watched to that day or dead by then; resolution, of patients whose course to the
    definition's last day is known; adverse events, of patients after whose sessions somebody looked.
    Source: Clopper and Pearson, Biometrika 1934;26:404; of each published figure the citation in its row.
    """
    ordered = sorted(BENCHMARKS, key=lambda each: each.year)
    rows = [_row(registry, each, figure, level) for each in ordered for figure in each.figures]
    table = _table(rows)
    return Statements(
        title="Published figures, with ours beside them",
        frame=table,
        said=tuple(_said(table)),
        population=Population(patients=len(registry.patients), sessions=len(registry.sessions)),
        method=Method(
            estimand="share of patients with each published end, counted here as its authors counted it or nearest to "
            "it",
            estimator="counts over those who could have had it; no comparison is tested and nothing is ranked",
            interval="Clopper–Pearson",
            level=level,
            definition="as in each row: resolution by the nearest thresholds, adverse events up to 30 days after a "
            "session where the published window is the time of treatment, deaths by days since the index drainage",
            references=("Clopper and Pearson, Biometrika 1934;26:404",),
        ),
    )


def _row(registry: Registry, benchmark: Benchmark, figure: PublishedFigure, level: float) -> dict:
    reason = _reason(registry, figure)
    events, n = (None, None) if reason else _ours(registry, figure)
    return {
        "published": benchmark.name,
        "arm": benchmark.arm,
        "figure": figure.what,
        "counted_as": figure.defined,
        **_share("their", figure.events, figure.n, level, figure.percent),
        "provenance": figure.provenance,
        **_share("our", events, n, level),
        "remark": f"{CANNOT}: {reason}" if reason else "" if n else "nobody can be counted yet",
        "unit": figure.unit,
        **{name: _stated(value) for name, value in _about(benchmark).items()},
        "citation": benchmark.citation,
    }


def _about(benchmark: Benchmark) -> dict[str, Stated | None]:
    """What is known of a series besides its figures, by column."""
    return {
        "design": benchmark.design,
        "patients": benchmark.n,
        "period": benchmark.period,
        "sessions": benchmark.sessions,
        "follow_up": benchmark.follow_up,
    }


def _stated(given: Stated | None) -> str:
    return f"{given.value}; {given.provenance}" if given else ""


def _reason(registry: Registry, figure: PublishedFigure) -> str:
    """Why a figure cannot be recomputed; "" where it can."""
    if figure.lacking:
        return figure.lacking
    missing = [need for need in _needed(figure) if len(registry.patients) and not need.met(registry)]
    return " ".join(f"{need.lacking} {need.remedy}" for need in missing)


def _needed(figure: PublishedFigure) -> tuple[Need, ...]:
    if figure.kind == RESOLVED:
        return of_resolution({"definition": figure.definition})
    return () if figure.kind in (DEATH, OTHER) else of_events({"units": (figure.unit,)})


def _ours(registry: Registry, figure: PublishedFigure) -> tuple[int, int]:
    """Our events and denominator, counted as the figure is."""
    if figure.kind == DEATH:
        return _deaths(registry, figure.days)
    if figure.kind == RESOLVED:
        ends = outcomes(registry, figure.definition)
        known = ((ends.cause > 0) | ends.at_horizon) & _watched(registry, figure.definition.horizon_days)
        return int(np.count_nonzero(known & (ends.cause == 1))), int(np.count_nonzero(known))
    rates = adverse_event_rates(registry, event_type=figure.kind, window=figure.window, units=(figure.unit,)).frame
    return int(rates["events"].sum()), int(rates["n"].sum())


def _deaths(registry: Registry, days: int) -> tuple[int, int]:
    """Deaths up to a day, of patients known dead by then or seen alive on it."""
    died = end_days(registry, "death") <= days
    seen = registry.patients["last_contact_day"].to_numpy(dtype=float, na_value=np.nan) >= days
    known = (died | seen) & _watched(registry, days)
    return int(np.count_nonzero(known & died)), int(np.count_nonzero(known))


def _watched(registry: Registry, day: int) -> np.ndarray:
    """Whose day lies before the data lock (P,): nobody counts early because something happened to them."""
    return (registry.patients["observed_days"] >= day).fillna(False).to_numpy(dtype=bool)


def _share(whose: str, events: int | None, n: int | None, level: float, percent: float | None = None) -> dict:
    """Events, denominator and percentage with exact limits, blank where they are not known."""
    found = dict.fromkeys((f"{whose}_percent", f"{whose}_low", f"{whose}_high"), np.nan)
    if n:
        limits = clopper_pearson(events, n, level=level)
        found = {f"{whose}_{name}": 100 * float(getattr(limits, of)) for name, of in _LIMITS}
    elif percent is not None:
        found[f"{whose}_percent"] = percent
    return {f"{whose}_events": events, f"{whose}_n": n, **found}


_LIMITS = (("percent", "estimate"), ("low", "low"), ("high", "high"))


def _table(rows: list[dict]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in COUNTS:
        table[name] = table[name].astype("Int64")
    for name in PERCENTAGES:
        table[name] = table[name].astype("float64").round(1)
    return table


def _said(table: pd.DataFrame) -> Iterator[str]:
    """What this is, then each pair that could be recomputed, in the order of the years."""
    yield CONTEXT
    yield FROM_MEMORY
    beside = table[table["our_n"].fillna(0) > 0]
    for row in beside.itertuples():
        yield f"{row.published}, {row.figure} ({row.counted_as}): {_theirs(row)} there, {_own(row)} here."
    missing = int(table["remark"].str.startswith(CANNOT).sum())
    figures = counted(len(table), "published figure", "published figures")
    yield f"{missing} of {figures} cannot be recomputed here; the table says why."


def _theirs(row) -> str:
    return f"{row.their_percent:g} %" if pd.isna(row.their_n) else f"{row.their_events} of {row.their_n}"


def _own(row) -> str:
    return f"{row.our_events} of {row.our_n} ({row.our_percent:.1f} %, {row.our_low:.1f} to {row.our_high:.1f})"
