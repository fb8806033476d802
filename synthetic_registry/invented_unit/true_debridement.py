"""True yield by instrument class, and how often a session used one class only."""

from __future__ import annotations

import numpy as np

from invented_unit.debridement import CLASSES, UNITS
from invented_unit.draws import code
from invented_unit.parameters import Parameters
from invented_unit.sessions import Rows
from invented_unit.sums import Ratio, closed, per_patient
from necrostats.registry.codebook import COMPARED_CLASSES


class DebridementSums:
    """Mean log yield, share with none, and share of one-class sessions, over the recorded sessions."""

    def __init__(self) -> None:
        self.log_yield = {name: Ratio() for name in (*COMPARED_CLASSES, "any class")}
        self.first_session = {name: Ratio() for name in COMPARED_CLASSES}
        self.no_yield = {name: Ratio() for name in (*COMPARED_CLASSES, "any class")}
        self.one_class = Ratio()
        self.shared = Ratio()

    def add(self, recorded: dict[str, Rows], n: int) -> None:
        """Add one chunk."""
        sessions = recorded["sessions"]
        who, first = sessions["patient_id"], sessions["classes"][:, 0]
        named = np.isin(first, [CLASSES.index(name) for name in COMPARED_CLASSES])
        one = sessions["one_class"]
        self.one_class.add(per_patient(who, n, one), per_patient(who, n, named))
        self.shared.add(per_patient(who, n, named & ~one), per_patient(who, n, named))
        measured = one & (sessions["yield_unit"] == UNITS.index("ml"))
        some = measured & (sessions["true_ml"] > 0)
        log_ml = np.log(np.where(some, sessions["true_ml"], 1.0))
        for name in (*COMPARED_CLASSES, "any class"):
            mine = np.full(len(first), True) if name == "any class" else first == CLASSES.index(name)
            positive = mine & some
            self.log_yield[name].add(per_patient(who, n, log_ml * positive), per_patient(who, n, positive))
            none = mine & measured & ~some
            self.no_yield[name].add(per_patient(who, n, none), per_patient(who, n, mine & measured))
            if name in self.first_session:
                plain = sessions["texture_met"] == code("sessions", "texture", "soft")
                early = positive & (sessions["number"] == 1) & plain
                self.first_session[name].add(per_patient(who, n, log_ml * early), per_patient(who, n, early))


def new_debridement_sums() -> DebridementSums:
    """Sums with nothing in them."""
    return DebridementSums()


def _geometric(ratio: Ratio) -> dict[str, float]:
    value = float(np.exp(ratio.value))
    return {"value": round(value, 3), "error": round(value * ratio.error, 3)}


def debridement_truth(sums: DebridementSums, parameters: Parameters) -> dict[str, object]:
    """Ratios that hold exactly, and geometric means in the sessions that a registry holds."""
    late, ratio = parameters.late_class, parameters.late_class_yield_ratio
    return {
        "how": "ratios: closed form; the rest: simulated, as recorded",
        "yield_ratio": {
            "what": f"{late} against any other class, given session number, texture and patient",
            **closed(ratio / parameters.other_class_yield_ratio),
        },
        "yield_ratio_per_further_session": closed(parameters.yield_ratio_per_session),
        "effect_of_any_class_on_resolution": "none: sessions are chosen after, and without, the day of resolution",
        "one_class_sessions_of_those_naming_a_class": sums.one_class.as_json(),
        "geometric_mean_ml_one_class_sessions_with_some_yield": {
            "what": "yield as it was, before rounding or writing as a range, sessions whose yield was given in ml",
            **{name: _geometric(each) for name, each in sums.log_yield.items()},
        },
        "geometric_mean_ml_first_necrosectomy_soft": {
            name: _geometric(each) for name, each in sums.first_session.items()
        },
        "no_yield_share_one_class_sessions": {name: each.as_json() for name, each in sums.no_yield.items()},
    }
