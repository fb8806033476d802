"""Where each course ended, along days or along session numbers: what every figure of resolution starts from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.resolution import record_notes
from necrostats.measures.session_counts import counted_sessions, session_notes
from necrostats.registry.tables import Registry
from necrostats.results import Note, Population
from necrostats.stats.event_tables import event_table
from necrostats.stats.incidence import CumulativeIncidence, aalen_johansen_of

DAYS, SESSIONS = "days", "sessions"
AXES = (DAYS, SESSIONS)
NAMED_POINT: Mapping[str, int] = {DAYS: 90, SESSIONS: 3}
NAMED_TAU: Mapping[str, int] = {DAYS: 180, SESSIONS: 8}


@dataclass(frozen=True, kw_only=True, eq=False)
class CoursesAlong:
    """One entry a patient, in the order of `registry.patients`: `time` (n,) and `cause` (n,) along `axis`.

    Of `groups`, patients who are not counted have the code -1; `left_out` says why.
    """

    axis: str
    time: np.ndarray
    cause: np.ndarray
    groups: Grouping
    ends: Outcomes
    left_out: Mapping[str, int]
    notes: tuple[Note, ...]

    @property
    def known(self) -> np.ndarray:
        """Which patients are counted (n,)."""
        return self.groups.codes >= 0

    @property
    def sizes(self) -> np.ndarray:
        """How many patients each group has (G,)."""
        return np.bincount(self.groups.codes[self.known], minlength=len(self.groups.labels))

    @property
    def population(self) -> Population:
        """Who is counted, and who was left out and why."""
        return Population(patients=int(np.count_nonzero(self.known)), left_out=self.left_out)

    @property
    def resolved(self) -> np.ndarray:
        """How many patients of each group were resolved while observed (G,)."""
        hit = self.known & (self.cause == 1)
        return np.bincount(self.groups.codes[hit], minlength=len(self.groups.labels))

    def labels_of(self, patients: np.ndarray) -> np.ndarray:
        """The labels of the groups of patients who are counted."""
        return np.array(self.groups.labels)[self.groups.codes[patients]]

    def curve(self, level: float) -> CumulativeIncidence:
        """Incidence by cause of the groups with anybody in them, under their labels."""
        filled = [label for label, n in zip(self.groups.labels, self.sizes, strict=True) if n]
        counts = event_table(
            self.time[self.known], self.cause[self.known], group=self.labels_of(self.known), causes=self.ends.causes,
            groups=filled,
        )  # fmt: skip
        return aalen_johansen_of(counts, level=level)


def courses_along(registry: Registry, axis: str, by: str | None, definition: ResolutionDefinition) -> CoursesAlong:
    """The ends of courses by days since index drainage, or by necrosectomies; ChoiceError for another axis."""
    if axis not in AXES:
        raise unknown_choice("axis", axis, AXES)
    groups, ends = patient_groups(registry, by), outcomes(registry, definition)
    ungrouped = {"patients without a group": groups.left_out}
    if axis == DAYS:
        return CoursesAlong(
            axis=axis, time=ends.day, cause=ends.cause, groups=groups, ends=ends, left_out=ungrouped,
            notes=record_notes(ends),
        )  # fmt: skip
    counted = counted_sessions(registry, ends)
    never = int(np.count_nonzero(~counted.enters))
    return CoursesAlong(
        axis=axis,
        time=counted.sessions,
        cause=counted.cause,
        groups=Grouping(labels=groups.labels, codes=np.where(counted.enters, groups.codes, -1)),
        ends=ends,
        left_out={**ungrouped, "patients with no scan or review after the index drainage": never},
        notes=(*session_notes(counted), *record_notes(ends)),
    )


def named_point(axis: str, at: int | None, least: int = 0) -> int:
    """The day or session number asked for, or the usual one."""
    return _whole("at", NAMED_POINT.get(axis, 0) if at is None else at, least)


def named_tau(axis: str, tau: int | None) -> int:
    """The day or session number up to which a mean is restricted, or the usual one."""
    return _whole("tau", NAMED_TAU.get(axis, 1) if tau is None else tau, 1)


def by_point(axis: str, at: int) -> str:
    """A point in words: "by day 90", "within 3 sessions"."""
    return f"by day {at}" if axis == DAYS else f"within {at} {'session' if at == 1 else 'sessions'}"


def _whole(name: str, value: int, least: int) -> int:
    if value != int(value) or value < least:
        raise ChoiceError(f"{name} is {value}: a whole number of days or sessions, {least} or more, is needed.")
    return int(value)
