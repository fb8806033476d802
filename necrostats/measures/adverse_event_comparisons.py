"""Adverse events of groups compared: the contrast, its limits, and the test that the numbers call for.

One set of adverse events in one group against a reference, over one denominator.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import (
    AGREE,
    ANY,
    THIRTY_DAYS,
    ChosenEvents,
    EventWindow,
    GradingScale,
    chosen_events,
    known_types,
    of_type,
    of_types,
    scale_named,
    window_named,
)
from necrostats.errors import ChoiceError, DesignError, unknown_choice
from necrostats.measures.adverse_events import (
    CHECKED,
    PATIENT_DAYS,
    PATIENTS,
    SESSIONS,
    STENT_DAYS,
    StentGroup,
    Watchful,
    stent_groups,
    watching_notes,
)
from necrostats.measures.event_follow_up import Watched, watched
from necrostats.measures.grouping import OF_THE_SESSION, Grouping, session_groups
from necrostats.measures.needs import needing, of_events
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Method, Note, Population
from necrostats.stats.comparisons import compare_proportions, rate_ratio
from necrostats.stats.comparisons.common import Contrast
from necrostats.stats.comparisons.rate_ratio import TESTS as CLUSTERED_TESTS
from necrostats.stats.comparisons.rate_ratio import clustered_odds_ratio, clustered_rate_ratio
from necrostats.stats.comparisons.two_shares import FEW, MEASURES, NO_TEST, TESTS
from necrostats.stats.multiplicity import holm
from necrostats.stats.rates import is_overdispersed

EXACT, MID_P, MINLIKE, ROBUST = "exact", "mid-P", "minlike", "robust"
RATE_TESTS = (EXACT, MID_P, MINLIKE, ROBUST)
COMPARED_UNITS = (PATIENTS, SESSIONS, PATIENT_DAYS, STENT_DAYS)
MEASURES_OF: Mapping[str, tuple[str, ...]] = {
    PATIENTS: tuple(MEASURES),
    SESSIONS: ("odds ratio",),
    PATIENT_DAYS: ("rate ratio",),
    STENT_DAYS: ("rate ratio",),
}
TESTS_OF: Mapping[str, tuple[str, ...]] = {
    PATIENTS: tuple(TESTS),
    SESSIONS: tuple(CLUSTERED_TESTS),
    PATIENT_DAYS: RATE_TESTS,
    STENT_DAYS: RATE_TESTS,
}

_WORDS = {"Units": "Sessions", "units": "sessions", "clusters": "patients", "cluster": "patient"}


@dataclass(frozen=True, kw_only=True)
class Asked:
    """How to compare: over what, by which measure, with which test and limits, all known to fit each other."""

    unit: str
    measure: str
    method: str | None
    test: str | None
    level: float


def asked_for(unit: str, measure: str | None, method: str | None, test: str | None, level: float) -> Asked:
    """The comparison asked for; ChoiceError for a name that is not on the list of its unit."""
    if unit not in COMPARED_UNITS:
        raise unknown_choice("unit of a comparison", unit, COMPARED_UNITS)
    chosen = MEASURES_OF[unit][0] if measure is None else measure
    if chosen not in MEASURES_OF[unit]:
        raise unknown_choice(f"measure of two groups over {unit}", chosen, MEASURES_OF[unit])
    if test is not None and test not in TESTS_OF[unit]:
        raise unknown_choice(f"test of two groups over {unit}", test, TESTS_OF[unit])
    if method is not None and unit != PATIENTS:
        raise ChoiceError(f'"{method}": limits are chosen by name for patients only; over {unit} they follow the test.')
    return Asked(unit=unit, measure=chosen, method=method, test=test, level=level)


@dataclass(frozen=True, kw_only=True, eq=False)
class Side:
    """One group: its watched sessions, and its stent-days where they count."""

    watchful: Watchful
    stents: StentGroup | None


@dataclass(frozen=True, kw_only=True, eq=False)
class FoundContrast:
    """A contrast with the counts it rests on and the rule that chose its test."""

    contrast: Contrast
    rule: str
    statistic: float
    counts: dict[str, int]
    notes: tuple[Note, ...]
    limits: str

    @property
    def possible(self) -> bool:
        """Whether both groups have anybody in them."""
        return bool(self.counts["n"] and self.counts["n_ref"])

    def row(self) -> dict:
        """The row of a Comparison, but for its labels."""
        found = self.contrast
        return {
            "measure": found.measure,
            "estimate": found.estimate,
            "low": found.low,
            "high": found.high,
            "statistic": self.statistic,
            "p_value": found.p_value,
            **self.counts,
            "test": found.test,
            "limits": self.limits,
            "rule": self.rule,
        }


def contrast_of(seen: Watched, side: Side, reference: Side, events: np.ndarray, asked: Asked) -> FoundContrast:
    """The contrast of a group with its reference for the events marked True (E,)."""
    if asked.unit == PATIENTS:
        return _patients(seen, side, reference, events, asked)
    if asked.unit == SESSIONS:
        return _sessions(seen, side, reference, events, asked)
    return _rates(seen, side, reference, events, asked)


def _patients(seen: Watched, side: Side, reference: Side, events: np.ndarray, asked: Asked) -> FoundContrast:
    affected = [_events_and_days(seen, each, events, PATIENTS)[0] > 0 for each in (side, reference)]
    counts = _counts(*((int(each.sum()), each.size) for each in affected))
    found = compare_proportions(
        *counts.values(), level=asked.level, measure=asked.measure, method=asked.method, test=asked.test
    )
    return FoundContrast(
        contrast=found, rule=found.rule, statistic=np.nan, counts=counts, notes=found.notes, limits=found.method
    )


def _sessions(seen: Watched, side: Side, reference: Side, events: np.ndarray, asked: Asked) -> FoundContrast:
    affected = seen.per_session(events) > 0
    here, there = side.watchful.here, reference.watchful.here
    counts = _counts(*((int(affected[each].sum()), int(each.sum())) for each in (here, there)))
    either = here | there
    found = clustered_odds_ratio(
        affected[either].astype(float),
        here[either].astype(float),
        seen.patient[either],
        level=asked.level,
        test=asked.test,
    )
    notes = tuple(Note(code=each.code, text=_of_sessions(each.text)) for each in found.notes)
    return FoundContrast(
        contrast=found,
        rule=found.rule,
        statistic=found.statistic,
        counts=counts,
        notes=notes,
        limits=_of_sessions(found.method),
    )


def _of_sessions(text: str) -> str:
    """What is said of units in clusters, said of sessions in patients."""
    for general, here in _WORDS.items():
        text = re.sub(rf"\b{general}\b", here, text)
    return text


def _rates(seen: Watched, side: Side, reference: Side, events: np.ndarray, asked: Asked) -> FoundContrast:
    each = [_events_and_days(seen, one, events, asked.unit) for one in (side, reference)]
    counts = _counts(*((int(k.sum()), int(days.sum())) for k, days in each))
    crowded = any(is_overdispersed(k, days) for k, days in each)
    fewest = min(counts["events"], counts["events_ref"])
    test = asked.test or (ROBUST if crowded and fewest >= FEW else EXACT)
    rule = "This test was asked for by name." if asked.test else _rate_rule(crowded, fewest)
    if test == ROBUST:
        found = clustered_rate_ratio(*each[0], *each[1], level=asked.level)
    else:
        found = rate_ratio(
            *counts.values(),
            level=asked.level,
            method="mid-P" if test == MID_P else "exact",
            test={EXACT: "central", MID_P: "mid-P", MINLIKE: "minlike"}[test],
        )
    notes = found.notes + _crowding(crowded and test != ROBUST)
    rule = rule if np.isfinite(found.p_value) else NO_TEST
    return FoundContrast(contrast=found, rule=rule, statistic=np.nan, counts=counts, notes=notes, limits=found.method)


def _events_and_days(seen: Watched, side: Side, events: np.ndarray, unit: str) -> tuple[np.ndarray, np.ndarray]:
    """Events and days of each patient of a group."""
    if unit == STENT_DAYS:
        return side.stents.counts(events)
    return side.watchful.per_patient(seen.per_watched(events)[side.watchful.here]), side.watchful.days


def _rate_rule(crowded: bool, fewest: int) -> str:
    if not crowded:
        return "Conditional exact test: events do not crowd in few patients."
    if fewest >= FEW:
        return "Test robust by patient: events crowd in few patients."
    return f"Conditional exact test: a group has fewer than {FEW} events ({fewest}), too few to allow for crowding."


def _crowding(ignored: bool) -> tuple[Note, ...]:
    text = "Events crowd in few patients and this comparison does not allow for it: its limits are too narrow."
    return (Note(code="OVERDISPERSED", text=text),) if ignored else ()


def _counts(group: tuple[int, int], reference: tuple[int, int]) -> dict[str, int]:
    return dict(zip(("events", "n", "events_ref", "n_ref"), (*group, *reference), strict=True))


COLUMNS = (
    *Comparison.columns,
    "variable",
    "unit",
    "events",
    "n",
    "events_ref",
    "n_ref",
    "test",
    "limits",
    "rule",
    "p_unadjusted",
)
MOST_RULES = 3
HOLM = "Holm, Scand J Stat 1979;6:65"


@needing("Adverse events, compared", of_events)
def compare_adverse_events(
    registry: Registry,
    *,
    by: str,
    reference: str | None = None,
    event_type: str | Sequence[str] | None = None,
    window: EventWindow | str = THIRTY_DAYS,
    grade_from: str | None = None,
    grading: GradingScale | str = AGREE,
    attribution_from: str | None = None,
    unit: str = PATIENTS,
    measure: str | None = None,
    method: str | None = None,
    test: str | None = None,
    level: float = 0.95,
) -> Comparison:
    """Each group against the reference (default: the first with anybody in it), events counted as in the rates.

    `unit`, its measures (the first by default) and its tests (by default chosen by a rule that is printed):
    "patients": "risk difference", "risk ratio", "odds ratio"; "boschloo", "fisher", "fisher mid-P", "chi-squared",
    "yates". "sessions": "odds ratio"; "gee", "firth". "100 patient-days", "100 stent-days": "rate ratio"; "exact",
    "mid-P", "minlike", "robust".

    `method` names the limits of a measure of patients, such as "newcombe". `event_type` may be several: the result is
    exploratory then, and `p_value` is Holm's over all rows (`p_unadjusted` beside it). The counts stand in `events`,
    `n`, `events_ref`, `n_ref`. Raises DesignError for patients or days by something of the session, since one patient
    could be in both groups; ChoiceError for a name that is not on its list.

    Counted: as adverse_event_rates, in each group and in the reference.
    Source: Holm, Scand J Stat 1979;6:65.
    """
    asked = asked_for(unit, measure, method, test, level)
    window, scale, variables = window_named(window), scale_named(grading), known_types(event_type, (ANY,))
    if by in OF_THE_SESSION and unit != SESSIONS:
        raise DesignError(
            f'"{by}" belongs to a session, so one patient can be in both groups and {unit} are not independent. '
            f'Compare sessions (unit="{SESSIONS}"), or group by something recorded at the index drainage.'
        )
    groups = session_groups(registry, by)
    seen = watched(registry, groups, window)
    stents, of_stents = stent_groups(registry, seen, by, (unit,), len(groups.labels))
    home = seen.event_session if unit == SESSIONS else seen.watching
    counted = of_types(registry, variables) & (home >= 0 if stents is None else stents.events)
    chosen = chosen_events(registry, scale, grade_from, attribution_from, counted)
    sides = [Side(watchful=Watchful.of(seen, at), stents=of_stents[at]) for at in range(len(groups.labels))]
    base = _reference(groups, sides, reference)
    found = {
        (variable, place): contrast_of(seen, side, sides[base], chosen.counts & of_type(registry, variable), asked)
        for variable in variables
        for place, side in enumerate(sides)
        if place != base
    }
    table = _table(found, groups, base, variables, unit)
    left_out = {**seen.left_out(), **(stents.left_out() if stents else {}), **chosen.left_out()}
    return Comparison(
        title=f"Adverse events {window.sentence()}{chosen.words}, by {by.replace('_', ' ')}",
        frame=table,
        population=Population(patients=seen.patients, sessions=seen.sessions, left_out=left_out),
        method=_method(found, window, scale, chosen, asked),
        notes=(*watching_notes(seen, (unit,)), *_notes(found, table)),
    )


def _reference(groups: Grouping, sides: list[Side], reference: str | None) -> int:
    if reference is not None:
        if reference not in groups.labels:
            raise unknown_choice("group to compare with", reference, groups.labels)
        return groups.labels.index(reference)
    return next((place for place, side in enumerate(sides) if side.watchful.days.size), 0)


def _table(
    found: dict[tuple[str, int], FoundContrast], groups: Grouping, base: int, variables: Sequence[str], unit: str
) -> pd.DataFrame:
    rows = [
        {"variable": variable, "group": place, "reference": base, "unit": unit, **each.row()}
        for (variable, place), each in found.items()
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in ("estimate", "low", "high", "statistic", "p_value"):
        table[name] = table[name].astype("float64")
    for name in ("events", "n", "events_ref", "n_ref"):
        table[name] = table[name].astype("int64")
    table["p_unadjusted"] = table["p_value"]
    table["p_value"] = holm(table["p_value"]) if len(table) else table["p_value"]
    for name in ("group", "reference"):
        table[name] = groups.column(table[name].to_numpy(dtype=np.int64))
    table["variable"] = pd.Categorical(table["variable"], categories=list(variables), ordered=True)
    return table


def _method(found: dict, window: EventWindow, scale: GradingScale, chosen: ChosenEvents, asked: Asked) -> Method:
    limits = list(dict.fromkeys(each.limits for each in found.values() if each.possible and each.limits))
    rules = list(dict.fromkeys(each.rule for each in found.values() if each.possible)) or [NO_TEST]
    more = f" And {len(rules) - MOST_RULES} more in the table." if rules[MOST_RULES:] else ""
    said = " ".join(rules[:MOST_RULES]) + more
    several = sum(each.possible for each in found.values()) > 1
    graded = scale.name in chosen.words
    return Method(
        estimand=f"{asked.measure} of adverse events {window.sentence()}{chosen.words}, over {asked.unit}",
        estimator=f"{asked.measure} against the reference group. Test: {said}" if rules else asked.measure,
        interval="; ".join(limits) or "none: nothing to compare",
        level=asked.level,
        definition=f"window: {window.sentence()}; {CHECKED}{chosen.words}; groups as they were, not assigned: a "
        "difference is an association",
        references=(*((HOLM,) if several else ()), *((scale.reference,) if graded else ())),
    )


def _notes(found: dict[tuple[str, int], FoundContrast], table: pd.DataFrame) -> tuple[Note, ...]:
    notes = list(dict.fromkeys(note for each in found.values() for note in each.notes))
    compared = sum(each.possible for each in found.values())
    if compared > 1:
        tested = int(table["p_unadjusted"].notna().sum())
        how = f", {tested} of them tested; p-values are adjusted by Holm's method" if tested > 1 else ""
        text = f"Exploratory: {compared} comparisons{how}; intervals are not adjusted."
        notes.append(Note(code="MULTIPLICITY", text=text))
    if not found:
        notes.append(Note(code="SMALL_N", text="There is one group only: nothing can be compared."))
    return tuple(notes)
