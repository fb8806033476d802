"""Small results made by hand, in the column vocabulary of necrostats.results. Every number in them is invented."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.results import Comparison, Curves, Method, Note, Population, Rates, Summary

NAN = float("nan")
CAUSES = ("resolved", "death", "surgery")


def method(**changes) -> Method:
    given = {
        "estimand": "probability of documented resolution by each day from index drainage",
        "estimator": "Aalen–Johansen",
        "interval": "log-log, delta standard error",
        "level": 0.95,
    }
    return Method(**(given | changes))


def population(patients: int = 142, **changes) -> Population:
    return Population(patients=patients, **changes)


def note(text: str = "Nothing happened in one group.", code: str = "ZERO_EVENTS") -> Note:
    return Note(code=code, text=text)


def _labels(values, categories=None) -> pd.Categorical:
    return pd.Categorical(values, categories=categories or list(dict.fromkeys(values)), ordered=True)


def curve_rows(group: str, n: int, points, hazards: dict[str, float], seed: int) -> list[tuple]:
    """Counts and incidences that hang together, with a made-up interval around each."""
    draw = np.random.default_rng(seed)
    left, free, rows = n, 1.0, []
    total = dict.fromkeys(hazards, 0.0)
    for point in points:
        at_risk, counts = left, {}
        for cause, hazard in hazards.items():
            counts[cause] = int(draw.binomial(left, hazard)) if left else 0
            left -= counts[cause]
        lost = int(draw.binomial(left, 0.02)) if left else 0
        left -= lost
        before = free
        for cause, k in counts.items():
            step = before * k / at_risk if at_risk else 0.0
            total[cause] += step
            free -= step
        for cause, estimate in total.items():
            half = 1.96 * np.sqrt(max(estimate * (1 - estimate), 0) / max(n, 1))
            limits = (max(0.0, estimate - half), min(1.0, estimate + half)) if estimate else (NAN, NAN)
            rows.append((group, cause, point, at_risk, counts[cause], lost, estimate, *limits))
    return rows


def curves(
    *,
    groups: dict[str, int] | None = None,
    axis: str = "days",
    landmarks=None,
    hazards=None,
    categories=None,
    medians: bool = True,
    notes=(),
    estimand: str | None = None,
) -> Curves:
    """Curves of made-up groups (label → patients) on days or on sessions."""
    groups = {"all": 142} if groups is None else groups
    days = axis == "days"
    landmarks = ((0, 30, 60, 90, 180) if days else (0, 1, 2, 3, 4, 5, 6)) if landmarks is None else landmarks
    hazards = hazards or dict(zip(CAUSES, (0.06, 0.006, 0.003) if days else (0.3, 0.02, 0.02), strict=True))
    points = sorted({*range(0, 181, 6), *landmarks}) if days else list(range(max(landmarks) + 1))
    rows = [row for at, (name, n) in enumerate(groups.items()) for row in curve_rows(name, n, points, hazards, at)]
    columns = ["group", "cause", axis, "at_risk", "events", "censored", "estimate", "low", "high"]
    table = pd.DataFrame(rows, columns=columns)
    labels = categories or list(groups)
    table["group"] = _labels(table["group"], labels)
    table["cause"] = _labels(table["cause"], list(hazards))
    return Curves(
        title=f"{'Time' if days else 'Sessions'} to documented resolution",
        frame=table,
        population=population(sum(groups.values())),
        landmarks=landmarks,
        notes=tuple(notes),
        method=method(**({"estimand": estimand} if estimand else {})),
        medians=_medians(list(groups), list(hazards)) if medians else pd.DataFrame(),
    )


def _medians(groups: list[str], causes: list[str]) -> pd.DataFrame:
    rows = [
        (group, cause, 62.0 if cause == "resolved" else NAN, 50.0 if cause == "resolved" else NAN, NAN)
        for group in groups
        for cause in causes
    ]
    return pd.DataFrame(rows, columns=["group", "cause", "estimate", "low", "high"])


def exact_curves(rows: list[tuple], *, axis: str = "days", landmarks=(0, 90), medians=None, **changes) -> Curves:
    """Curves from rows written out: (group, cause, point, at_risk, events, censored, estimate, low, high)."""
    columns = ["group", "cause", axis, *Curves.columns[2:]]
    table = pd.DataFrame(rows, columns=columns)
    table["group"], table["cause"] = _labels(table["group"]), _labels(table["cause"])
    given = {"title": "Time to documented resolution", "population": population(), "method": method()}
    return Curves(
        **(given | changes),
        frame=table,
        landmarks=tuple(landmarks),
        medians=pd.DataFrame() if medians is None else medians,
    )


RATE_ROWS = (
    ("any adverse event", "all", "patients", 11, 235, 1, 0.0468, 0.0236, 0.0822),
    ("any adverse event", "all", "sessions", 14, 880, 1, 0.0159, 0.0087, 0.0265),
    ("any adverse event", "all", "100 patient-days", 15, 14210, 100, 0.1056, 0.0591, 0.1741),
    ("bleeding", "all", "patients", 7, 235, 1, 0.0298, 0.0121, 0.0604),
    ("bleeding", "all", "sessions", 8, 880, 1, 0.0091, 0.0039, 0.0178),
    ("bleeding", "all", "100 patient-days", 8, 14210, 100, 0.0563, 0.0243, 0.1109),
    ("perforation", "all", "patients", 0, 30, 1, 0.0, 0.0, 0.1157),
    ("perforation", "all", "sessions", 0, 30, 1, 0.0, 0.0, 0.1157),
    ("perforation", "all", "100 patient-days", 0, 4210, 100, 0.0, 0.0, 0.0876),
    ("stent_migration", "all", "patients", 1, 235, 1, 0.0043, 0.0001, 0.0235),
    ("stent_migration", "all", "sessions", 1, 880, 1, 0.0011, 0.0, 0.0063),
    ("stent_migration", "all", "100 patient-days", 1, 14210, 100, 0.0070, 0.0002, 0.0392),
)


def rates(rows=RATE_ROWS, *, notes=(), groups=None, title: str = "Adverse events during and to 30 days", **changes):
    """Rates from rows written out: (variable, group, unit, events, n, per, estimate, low, high)."""
    table = pd.DataFrame(list(rows), columns=list(Rates.columns))
    for name in ("variable", "group", "unit"):
        table[name] = _labels(table[name], groups if name == "group" else None)
    given = {
        "estimand": "share of patients, and of sessions, with at least one adverse event",
        "estimator": "exact proportions and rates",
        "interval": "Clopper–Pearson, Korn–Graubard, Garwood",
        "definition": "during the session or within 30 days of it",
    }
    return Rates(
        title=title,
        frame=table,
        population=population(235, sessions=880, left_out={"events not checked": 3}),
        method=method(**(given | changes)),
        notes=tuple(notes),
    )


def no_rates() -> Rates:
    return rates(rows=())


YIELD_ROWS = (
    ("yield, ml", "", "cap_suction", "geometric mean", 2, 31, 1, 12, 184.2, 150.3, 226.1),
    ("yield, ml", "", "snare", "geometric mean", 0, 44, 0, 20, 96.7, 80.2, 116.4),
    ("yield, ml", "", "net", "geometric mean", 1, 4, 0, 3, 210.0, 90.0, 490.0),
    ("yield, ml", "", "forceps", "geometric mean", 0, 0, 0, 0, NAN, NAN, NAN),
    ("yield, g", "", "cap_suction", "geometric mean", 0, 9, 2, 6, 42.3, 21.8, 81.9),
    ("yield, g", "", "snare", "geometric mean", 1, 12, 0, 8, 25.1, 14.0, 44.9),
)

CASE_ROWS = (
    ("sex", "female", "all", "share", 40, 98, 2, 98, 40 / 98, NAN, NAN),
    ("sex", "male", "all", "share", 58, 98, 2, 98, 58 / 98, NAN, NAN),
    ("aetiology", "gallstone", "all", "share", 51, 100, 0, 100, 0.51, NAN, NAN),
    ("aetiology", "alcohol", "all", "share", 30, 100, 0, 100, 0.30, NAN, NAN),
    ("aetiology", "post_procedural", "all", "share", 0, 100, 0, 100, 0.0, NAN, NAN),
    ("age, years", "", "all", "median", NAN, 100, 0, 100, 56.0, 44.0, 67.5),
    ("longest axis, mm", "", "all", "median", NAN, 96, 4, 96, 121.0, 95.0, 150.0),
)

COMPLETE_ROWS = (
    ("sessions.texture", "", "all", "share", 30, 40, 10, NAN, 0.75, NAN, NAN),
    ("sessions.yield_low", "", "all", "share", 38, 40, 2, NAN, 0.95, NAN, NAN),
    ("patients.age_years", "", "all", "share", 20, 20, 0, NAN, 1.0, NAN, NAN),
    ("scans.modality", "", "all", "share", 0, 0, 0, NAN, NAN, NAN, NAN),
)


def summary(rows=YIELD_ROWS, *, title: str = "Debridement yield", notes=(), groups=None) -> Summary:
    """A summary from rows: (variable, level, group, measure, events, n, missing, patients, estimate, low, high)."""
    table = pd.DataFrame(list(rows), columns=list(Summary.columns))
    for name in ("variable", "group"):
        table[name] = _labels(table[name], groups if name == "group" else None)
    return Summary(
        title=title,
        frame=table,
        population=population(32, sessions=88),
        notes=tuple(notes),
        method=method(estimand="what one session yields", estimator="descriptive", interval="by patient"),
    )


COMPARISON_ROWS = (
    ("cap_suction", "snare", "ratio of geometric means", 1.42, 1.05, 1.92, 2.4, 0.0231),
    ("net", "snare", "ratio of geometric means", 0.81, 0.32, 2.06, -0.5, 0.64),
    ("cap_suction", "snare", "risk difference", -0.032, -0.091, 0.027, NAN, NAN),
)


def comparison(rows=COMPARISON_ROWS, *, notes=()) -> Comparison:
    """A comparison from rows: (group, reference, measure, estimate, low, high, statistic, p)."""
    table = pd.DataFrame(list(rows), columns=list(Comparison.columns))
    return Comparison(
        title="Yield by instrument class",
        frame=table,
        population=population(32, sessions=88),
        notes=tuple(notes),
        method=method(estimand="ratio of geometric mean yields", estimator="random intercept by patient, REML"),
    )
