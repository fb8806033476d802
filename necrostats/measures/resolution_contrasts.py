"""Two groups' resolution set against each other: incidence at a point, restricted means, tests and hazard ratios."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from necrostats.measures.resolution import (
    DAYS,
    CoursesAlong,
    by_point,
)
from necrostats.results import Note
from necrostats.stats.cox import cox, proportional_hazards
from necrostats.stats.curve_tests import CurveTest, gray_test, log_rank
from necrostats.stats.discrete_hazard import discrete_hazard
from necrostats.stats.restricted_means import GroupFigures, difference, heights, restricted_mean

FEWEST_FOR_A_CONTRAST = 5
FEWEST_FOR_A_MODEL = 10
FEW = 20
CHANGED = 0.05
TESTED = "likelihood ratio test"
WALD = "Wald test"


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """One contrast: what is measured, the figure with its limits, the test, and its notes."""

    measure: str
    estimate: float = np.nan
    low: float = np.nan
    high: float = np.nan
    statistic: float = np.nan
    p_value: float = np.nan
    test: str = ""
    limits: str = ""
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Sides:
    """The courses, which group is the reference, and each patient's stratum (n,), if there are any."""

    courses: CoursesAlong
    base: int
    strata: np.ndarray | None
    level: float

    @property
    def reference(self) -> str:
        """The label of the reference group."""
        return self.courses.groups.labels[self.base]

    def others(self, fewest: int) -> list[int]:
        """The groups with so many patients, but for the reference; none if that has fewer itself."""
        sizes = self.courses.sizes
        enough = np.flatnonzero(sizes >= fewest)
        return [int(place) for place in enough if place != self.base] if sizes[self.base] >= fewest else []


def differences(sides: Sides, at: int, tau: int) -> dict[int, tuple[Found, Found]]:
    """By group: the difference in incidence at `at` and in the restricted mean up to `tau`, from the reference."""
    courses = sides.courses
    curve = courses.curve(sides.level)
    mean = (
        f"mean days resolved up to day {tau}"
        if courses.axis == DAYS
        else f"mean sessions spared by resolution, of the first {tau}"
    )
    figures = {
        f"difference in incidence {by_point(courses.axis, at)}": heights(curve, at).of_cause(0),
        f"difference in {mean}": restricted_mean(curve, tau).of_cause(0),
    }
    return {
        place: tuple(_gap(name, each, sides, place) for name, each in figures.items())
        for place in sides.others(FEWEST_FOR_A_CONTRAST)
    }


def _gap(name: str, figures: GroupFigures, sides: Sides, place: int) -> Found:
    found = difference(figures, sides.courses.groups.labels[place], sides.reference, welch=True)
    return Found(
        measure=name,
        estimate=found.estimate,
        low=found.low,
        high=found.high,
        statistic=found.statistic,
        p_value=found.p_value,
        test=found.test,
        limits=found.method,
        notes=found.notes,
    )


def gray(sides: Sides) -> Found:
    """Gray's test of the incidence of resolution, among groups of 5 patients and more."""
    courses, rows, kept = sides.courses, *_tested(sides)
    found = gray_test(
        courses.time[rows],
        courses.cause[rows],
        group=courses.labels_of(rows),
        groups=kept,
        of="resolved",
        causes=courses.causes,
        strata=_strata(sides, rows),
    )
    return _tested_by(found, "Gray's test of the incidence of resolution")


def event_free_log_rank(sides: Sides, day: np.ndarray, happened: np.ndarray) -> Found:
    """The log-rank test of survival free of death and surgery, resolved or not: `day` and `happened` (n,)."""
    rows, kept = _tested(sides)
    found = log_rank(
        day[rows],
        happened[rows].astype(int),
        group=sides.courses.labels_of(rows),
        groups=kept,
        strata=_strata(sides, rows),
    )
    return _tested_by(found, "log-rank test of survival free of death and surgery")


def _tested(sides: Sides) -> tuple[np.ndarray, list[str]]:
    """Which patients (n,) belong to the groups that are tested, and the labels of those."""
    courses = sides.courses
    kept = [sides.base, *sides.others(FEWEST_FOR_A_CONTRAST)]
    rows = courses.known & np.isin(courses.groups.codes, kept)
    return rows, [courses.groups.labels[place] for place in kept]


def _strata(sides: Sides, rows: np.ndarray) -> np.ndarray | None:
    return None if sides.strata is None else sides.strata[rows]


def _tested_by(found: CurveTest, measure: str) -> Found:
    freedom = found.degrees_of_freedom
    test = f"{found.test}, χ² on {freedom} {'degree' if freedom == 1 else 'degrees'} of freedom" if freedom else ""
    return Found(measure=measure, statistic=found.statistic, p_value=found.p_value, test=test, notes=found.notes)


@dataclass(frozen=True, kw_only=True, eq=False)
class Model:
    """Hazard ratios by group, and in a sentence whether they stayed the same over time."""

    by_group: dict[int, Found]
    proportional: str = ""
    notes: tuple[Note, ...] = ()


def hazard_ratios(sides: Sides, tau: int) -> Model:
    """Cause-specific hazard ratios of resolution against the reference, among groups of 10 patients and more."""
    places = sides.others(FEWEST_FOR_A_MODEL)
    if not places:
        return Model(by_group={})
    courses = sides.courses
    rows = courses.known & np.isin(courses.groups.codes, [sides.base, *places])
    code, hit = courses.groups.codes[rows], courses.cause[rows] == 1
    x = np.stack([code == place for place in places], axis=1).astype(float)
    strata, names = _strata(sides, rows), [courses.groups.labels[place] for place in places]
    if courses.axis == DAYS:
        return _cox(sides, courses.time[rows], hit, x, strata, places, names)
    whole = x if strata is None else np.hstack([x, _indicators(strata)])
    fit = discrete_hazard(courses.time[rows], hit, whole, first=0, cap=tau, level=sides.level)
    found = {
        place: Found(
            measure="hazard ratio of resolution, per session",
            estimate=float(np.exp(fit.coefficient[k])),
            low=float(np.exp(fit.low[k])),
            high=float(np.exp(fit.high[k])),
            p_value=float(fit.p_value[k]),
            statistic=float(fit.coefficient[k] / fit.std_error[k]),
            test=WALD,
            limits="normal limits on the log scale",
        )
        for k, place in enumerate(places)
    }
    return Model(by_group=found, notes=named(fit.notes, names))


def _cox(sides: Sides, time, hit, x, strata, places: list[int], names: list[str]) -> Model:
    fit = cox(time, hit, x, strata=strata, level=sides.level)
    alone = len(places) == 1 and np.isinf(fit.coefficient[0])
    found = {
        place: Found(
            measure="hazard ratio of resolution",
            estimate=float(np.exp(fit.coefficient[k])),
            low=float(np.exp(fit.low[k])),
            high=float(np.exp(fit.high[k])),
            statistic=fit.likelihood_ratio.statistic if alone else float(fit.statistic[k]),
            p_value=fit.likelihood_ratio.p_value if alone else float(fit.p_value[k]),
            test=TESTED if alone else WALD,
            limits="normal limits on the log scale",
        )
        for k, place in enumerate(places)
    }
    if not np.isfinite(fit.coefficient).all():
        return Model(by_group=found, notes=named(fit.notes, names))
    check = proportional_hazards(time, hit, x, strata=strata)
    p = check.global_p_value
    said = (
        f"Score test that hazard ratios stay the same over time: χ² {check.global_statistic:.2f} on "
        f"{check.degrees_of_freedom}, {p_words(p)}"
    )
    changed = (
        ()
        if not p < CHANGED
        else (
            Note(
                code="NON_PROPORTIONAL",
                text=f"{said}. One hazard ratio does not "
                "words the whole course: read the curves and the difference in incidence.",
            ),
        )
    )
    return Model(by_group=found, proportional=said, notes=named(fit.notes, names) + changed)


def _indicators(strata: np.ndarray) -> np.ndarray:
    """A column for each stratum but the first (n, S − 1)."""
    return (strata[:, None] == np.unique(strata)[None, 1:]).astype(float)


def named(notes: tuple[Note, ...], names: list[str]) -> tuple[Note, ...]:
    """Notes that speak of covariates by number, with their names."""

    def spelt(found: re.Match) -> str:
        places = [int(each) for each in found[1].split(", ")]
        return ", ".join(names[place - 1] if place <= len(names) else "a stratum" for place in places)

    return tuple(Note(code=each.code, text=re.sub(r"covariate (\d+(?:, \d+)*)", spelt, each.text)) for each in notes)


def p_words(p: float) -> str:
    """A p-value to two significant digits, never as 0."""
    if not np.isfinite(p):
        return "p not known"
    return "p < 0.001" if p < 0.001 else f"p = {float(f'{p:.2g}'):g}"


def size_notes(courses: CoursesAlong) -> tuple[Note, ...]:
    """Which groups are too small for a contrast, too small for a model, or to be read with care."""
    sized = [(label, int(n)) for label, n in zip(courses.groups.labels, courses.sizes, strict=True) if n]
    said = {
        f"fewer than {FEWEST_FOR_A_CONTRAST}: nothing is compared": (0, FEWEST_FOR_A_CONTRAST),
        f"fewer than {FEWEST_FOR_A_MODEL}: no hazard ratio": (FEWEST_FOR_A_CONTRAST, FEWEST_FOR_A_MODEL),
        f"fewer than {FEW}: intervals are approximate, read with care": (FEWEST_FOR_A_MODEL, FEW),
    }
    notes = []
    for words, (least, most) in said.items():
        listed = ", ".join(f"{label} ({n})" for label, n in sized if least <= n < most)
        if listed:
            notes.append(Note(code="SMALL_N", text=f"Patients {words}: {listed}."))
    return tuple(notes)
