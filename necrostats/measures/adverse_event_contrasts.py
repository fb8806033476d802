"""One set of adverse events in one group against a reference, over one denominator."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.adverse_event_units import PATIENT_DAYS, PATIENTS, SESSIONS, STENT_DAYS, StentGroup, Watchful
from necrostats.measures.watching import Watched
from necrostats.results import Note
from necrostats.stats.comparisons import compare_proportions, rate_ratio
from necrostats.stats.comparisons.choosing import FEW, MEASURES, NO_TEST, TESTS
from necrostats.stats.comparisons.clustered_odds import TESTS as CLUSTERED_TESTS
from necrostats.stats.comparisons.clustered_odds import clustered_odds_ratio
from necrostats.stats.comparisons.clustered_rates import clustered_rate_ratio
from necrostats.stats.comparisons.common import Contrast
from necrostats.stats.rates import is_overdispersed

EXACT, MID_P, MINLIKE, ROBUST = "exact", "mid-P", "minlike", "robust"
RATE_TESTS = (EXACT, MID_P, MINLIKE, ROBUST)
COMPARED_UNITS = (PATIENTS, SESSIONS, PATIENT_DAYS, STENT_DAYS)
MEASURES_OF: Mapping[str, tuple[str, ...]] = {
    PATIENTS: tuple(MEASURES), SESSIONS: ("odds ratio",), PATIENT_DAYS: ("rate ratio",), STENT_DAYS: ("rate ratio",),
}  # fmt: skip
TESTS_OF: Mapping[str, tuple[str, ...]] = {
    PATIENTS: tuple(TESTS), SESSIONS: tuple(CLUSTERED_TESTS), PATIENT_DAYS: RATE_TESTS, STENT_DAYS: RATE_TESTS,
}  # fmt: skip

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
            "measure": found.measure, "estimate": found.estimate, "conf_low": found.low, "conf_high": found.high,
            "statistic": self.statistic, "p_value": found.p_value, **self.counts, "test": found.test,
            "limits": self.limits, "rule": self.rule,
        }  # fmt: skip


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
        affected[either].astype(float), here[either].astype(float), seen.patient[either], level=asked.level,
        test=asked.test,
    )  # fmt: skip
    notes = tuple(Note(code=each.code, text=_of_sessions(each.text)) for each in found.notes)
    return FoundContrast(
        contrast=found, rule=found.rule, statistic=found.statistic, counts=counts, notes=notes,
        limits=_of_sessions(found.method),
    )  # fmt: skip


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
            *counts.values(), level=asked.level, method="mid-P" if test == MID_P else "exact",
            test={EXACT: "central", MID_P: "mid-P", MINLIKE: "minlike"}[test],
        )  # fmt: skip
    notes = found.notes + _crowding(crowded and test != ROBUST)
    rule = rule if np.isfinite(found.p_value) else NO_TEST
    return FoundContrast(
        contrast=found, rule=rule, statistic=np.nan, counts=counts, notes=notes, limits=found.method
    )


def _events_and_days(seen: Watched, side: Side, events: np.ndarray, unit: str) -> tuple[np.ndarray, np.ndarray]:
    """Events and days of each patient of a group."""
    if unit == STENT_DAYS:
        return side.stents.counts(events)
    return side.watchful.per_patient(seen.per_session(events)[side.watchful.here]), side.watchful.days


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
