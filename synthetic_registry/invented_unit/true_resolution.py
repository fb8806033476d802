"""True resolution: by sessions and by days, documented and latent, with death, surgery and drains competing."""

from __future__ import annotations

import numpy as np

from invented_unit.course import Course
from invented_unit.draws import FAR
from invented_unit.sums import Ratio
from invented_unit.unit import Lives

CAUSES = ("resolved", "death", "surgery", "percutaneous drain")
DAYS = (30, 60, 90, 180)
SESSIONS = tuple(range(9))
HORIZON = 180


def first_end(course: Course, resolved: np.ndarray, *, drain_fails: bool = True) -> tuple[np.ndarray, np.ndarray]:
    """The day of the first end of each patient and its place in CAUSES; FAR if there is none."""
    drain = course.drain if drain_fails else np.full(len(course), FAR)
    ends = np.stack([resolved, course.death, course.surgery, drain])
    return ends.min(axis=0), ends.argmin(axis=0)


class ResolutionSums:
    """Sums for every curve: (definition, cause, point)."""

    def __init__(self) -> None:
        self.days: dict[tuple[str, str], list[Ratio]] = {}
        self.sessions: dict[tuple[str, str], list[Ratio]] = {}
        self.day_counts = {name: np.zeros(400) for name in ("documented", "true")}
        self.session_counts = np.zeros(40)
        self.after_horizon = Ratio()
        self.patients = 0

    def add(self, lives: Lives) -> None:
        """Add one chunk."""
        course = lives.course
        self.patients += len(course)
        for name, resolved, fails in (
            ("documented", course.seen_resolved, True),
            ("true", course.true_day, True),
            ("documented, drain is not a failure", course.seen_resolved, False),
        ):
            day, cause = first_end(course, resolved, drain_fails=fails)
            for place, label in enumerate(CAUSES if fails else CAUSES[:3]):
                sums = self.days.setdefault((name, label), [Ratio() for _ in DAYS])
                for ratio, limit in zip(sums, DAYS, strict=True):
                    ratio.add((cause == place) & (day <= limit))
            if name in self.day_counts:
                mine = day[(cause == 0) & (day < 400)]
                self.day_counts[name] += np.bincount(mine, minlength=400)
        self._add_sessions(course)

    def _add_sessions(self, course: Course) -> None:
        for name, fails in (("documented", True), ("documented, drain is not a failure", False)):
            day, cause = first_end(course, course.seen_resolved, drain_fails=fails)
            done = (course.necrosectomy <= day[:, None]).sum(axis=1) + course.day_0_necrosectomy
            over = day < FAR
            for place, label in enumerate(CAUSES if fails else CAUSES[:3]):
                sums = self.sessions.setdefault((name, label), [Ratio() for _ in SESSIONS])
                for ratio, limit in zip(sums, SESSIONS, strict=True):
                    ratio.add(over & (cause == place) & (done <= limit))
            if fails:
                resolved = over & (cause == 0)
                self.session_counts += np.bincount(done[resolved], minlength=40)
                self.after_horizon.add(resolved & (day > HORIZON))


def new_resolution_sums() -> ResolutionSums:
    """Sums with nothing in them."""
    return ResolutionSums()


def _median(counts: np.ndarray, patients: int) -> int | None:
    reached = np.flatnonzero(np.cumsum(counts) >= patients / 2)
    return int(reached[0]) if reached.size else None


def _curves(sums: dict[tuple[str, str], list[Ratio]], points: tuple[int, ...]) -> dict[str, object]:
    out: dict[str, dict[str, object]] = {}
    for (name, cause), ratios in sums.items():
        at = {str(point): ratio.as_json() for point, ratio in zip(points, ratios, strict=True)}
        out.setdefault(name, {})[cause] = at
    return out


def resolution_truth(sums: ResolutionSums) -> dict[str, object]:
    """The curves at their landmarks and the medians; simulated, full follow-up."""
    return {
        "how": "simulated, full follow-up",
        "definition": (
            "documented: longest axis 30 mm or less on a scan of every collection known by then, symptom-free at a "
            "review within 30 days either side, no percutaneous drain and no surgery before it; its day is the "
            "scan's. true: the day on which that first holds, seen or not. Competing: death, surgical or minimally "
            "invasive necrosectomy, percutaneous drain."
        ),
        "within_sessions": _curves(sums.sessions, SESSIONS),
        "median_sessions": _median(sums.session_counts, sums.patients),
        "documented_after_day_180": sums.after_horizon.as_json(),
        "by_day": _curves(sums.days, DAYS),
        "median_day": {name: _median(counts, sums.patients) for name, counts in sums.day_counts.items()},
    }
