"""True adverse event rates: per patient, per session, per 100 patient-days, and bleeding by quarter."""

from __future__ import annotations

import numpy as np

from invented_unit.adverse_events import BLEEDING
from invented_unit.draws import FAR, expit, logit
from invented_unit.parameters import Parameters
from invented_unit.sessions import Rows
from invented_unit.sums import Ratio, closed, per_patient
from invented_unit.unit import Lives

WINDOW = 30


class EventSums:
    """Named ratios, each once with full follow-up and once as recorded."""

    def __init__(self) -> None:
        self.ratios: dict[str, dict[str, Ratio]] = {}

    def add(self, lives: Lives, recorded: dict[str, Rows], raised: int) -> None:
        """Add one chunk."""
        course, n = lives.course, len(lives.course)
        full = lives.tables
        ones = np.ones(len(full["sessions"]["day"]), dtype=bool)
        self._add("full follow-up", n, full["sessions"], full["adverse_events"], ones, course.death, raised)
        sessions, events = recorded["sessions"], dict(recorded["adverse_events"])
        events["session_id"] = _by_day(sessions, events)
        known = sessions["events_checked"] == 1
        until = np.minimum(course.death, course.censored)
        self._add("as recorded", n, sessions, events, known, until, raised)

    def _of(self, name: str, version: str) -> Ratio:
        return self.ratios.setdefault(name, {}).setdefault(version, Ratio())

    def _add(self, version: str, n: int, sessions: Rows, events: Rows, checked, until, raised: int) -> None:
        who, at = sessions["patient_id"], events["session_id"]
        delay = events["day"] - sessions["day"][at]
        inside = (at >= 0) & (delay >= 0) & (delay <= WINDOW)
        m = len(who)
        any_event, bled = np.zeros(m, dtype=bool), np.zeros(m, dtype=bool)
        any_event[at[inside]] = True
        bled[at[inside & (events["event_type"] == BLEEDING)]] = True
        known = checked | any_event
        hit = per_patient(who, n, any_event) > 0
        self._of("patients with an event, of all patients", version).add(hit)
        self._of("patients with bleeding, of all patients", version).add(per_patient(who, n, bled) > 0)
        some = per_patient(who, n, known) > 0
        self._of("patients with an event, of those with a session looked at", version).add(hit & some, some)
        every = hit | (per_patient(who, n, ~known) == 0)
        self._of("patients with an event, of those with every session looked at or an event", version).add(hit, every)
        self._sessions(version, n, who, any_event, bled, known, sessions, raised)
        counted = per_patient(events["patient_id"][inside], n)
        starts = sessions["day"]
        for name, extra in (("from each session to 30 days later", 0), ("31 calendar days a session", 1)):
            days = exposed_days(who[known], starts[known], until, n, extra)
            self._of(f"events per 100 patient-days, {name}", version).add(100 * counted, days)

    def _sessions(self, version, n, who, any_event, bled, known, sessions: Rows, raised: int) -> None:
        usual = sessions["period"] != raised
        for name, event, mask in (
            ("sessions followed by an event", any_event, known),
            ("sessions followed by bleeding", bled, known),
            ("sessions followed by bleeding, ordinary quarters", bled, known & usual),
            ("sessions followed by bleeding, 2025Q3", bled, known & ~usual),
            ("necrosectomies followed by an event", any_event, known & (sessions["number"] > 0)),
            ("necrosectomies followed by bleeding, ordinary quarters", bled, known & usual & (sessions["number"] > 0)),
        ):
            self._of(name, version).add(per_patient(who, n, event & mask), per_patient(who, n, mask))


def _by_day(sessions: Rows, events: Rows) -> np.ndarray:
    """The session an event is put down to: the one named, else the last on or before its day."""
    wide = np.int64(4 * FAR)
    key = sessions["patient_id"] * wide + sessions["day"]
    last = np.searchsorted(key, events["patient_id"] * wide + events["day"], side="right") - 1
    return np.where(events["session_id"] >= 0, events["session_id"], last)


def exposed_days(who, starts, until, n: int, extra: int) -> np.ndarray:
    """Days of each patient inside any window, counted once; windows stop at death or last contact."""
    end = np.minimum(starts + WINDOW + extra, until[who] + extra)
    same = np.append(False, who[1:] == who[:-1])
    before = np.where(same, np.append(0, end[:-1]), -FAR)
    return per_patient(who, n, np.maximum(end - np.maximum(starts, before), 0))


def new_event_sums() -> EventSums:
    """Sums with nothing in them."""
    return EventSums()


def bleeding_of_session(parameters: Parameters, base: float, odds_ratio: float) -> float:
    """Chance of bleeding of one session, averaged over patients by Gauss–Hermite quadrature."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    chance = expit(logit(base) + np.log(odds_ratio) + parameters.bleeding_sd * nodes)
    return float((weights * chance).sum() / weights.sum())


def event_truth(sums: EventSums, parameters: Parameters) -> dict[str, object]:
    """Every rate, with full follow-up and as recorded."""
    rates = {
        name: {version: ratio.as_json() for version, ratio in versions.items()}
        for name, versions in sums.ratios.items()
    }
    debriding, other = parameters.bleeding_debriding, parameters.bleeding_other_scope
    raised = parameters.bleeding_odds_ratio
    return {
        "how": "simulated, except `bleeding_of_one_session`: closed form",
        "window": (
            "put down to a session, on its day or up to 30 days after; as recorded, sessions and patient-days count "
            "where somebody looked or an event is written down"
        ),
        "rates": rates,
        "bleeding_odds_ratio_2025Q3": closed(raised),
        "bleeding_of_one_session": {
            "drainage or necrosectomy, ordinary quarters": closed(bleeding_of_session(parameters, debriding, 1.0)),
            "drainage or necrosectomy, 2025Q3": closed(bleeding_of_session(parameters, debriding, raised)),
            "other sessions, ordinary quarters": closed(bleeding_of_session(parameters, other, 1.0)),
            "other sessions, 2025Q3": closed(bleeding_of_session(parameters, other, raised)),
        },
    }
