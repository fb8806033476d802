"""Who the invented patients are, and what was done to them outside endoscopy."""

from __future__ import annotations

import numpy as np

from invented_unit.adverse_events import TREATMENTS, TYPES
from invented_unit.course import Course
from invented_unit.draws import BLANK, FAR, Draws, codes
from invented_unit.parameters import Mix, Parameters
from invented_unit.sessions import Rows

KINDS = codes("other_interventions", "kind")
CAUSES = codes("patients", "death_cause")
BASELINE: dict[str, Mix] = {
    "sex": (("female", 0.38), ("male", 0.615), ("other", 0.005)),
    "aetiology": (
        ("gallstone", 0.42),
        ("alcohol", 0.24),
        ("hypertriglyceridaemia", 0.09),
        ("post_procedural", 0.06),
        ("drug", 0.03),
        ("autoimmune", 0.02),
        ("idiopathic", 0.11),
        ("other", 0.03),
    ),
    "atlanta_severity": (("mild", 0.03), ("moderately_severe", 0.57), ("severe", 0.40)),
    "organ_failure": (("none", 0.56), ("transient", 0.20), ("persistent", 0.24)),
    "infection": (("confirmed", 0.42), ("suspected", 0.28), ("none", 0.30)),
    "nutrition": (("oral", 0.45), ("enteral", 0.45), ("parenteral", 0.10)),
    "prior_intervention": (("none", 0.86), ("percutaneous", 0.08), ("endoscopic", 0.04), ("surgical", 0.02)),
    "antithrombotic": (("none", 0.66), ("antiplatelet", 0.16), ("anticoagulant", 0.15), ("both", 0.03)),
}


def draw_patients(draws: Draws, course: Course, disconnected, events: Rows, parameters: Parameters) -> Rows:
    """The patients table, without censoring."""
    n, share = len(course), parameters.blank_share
    age = np.round(55 + 15 * draws.normal(n)).clip(19, 89).astype(np.int64)
    rows: Rows = {"age_years": draws.blanked(age, 0.01, BLANK)}
    for name, mix in BASELINE.items():
        rows[name] = draws.blanked(draws.pick(mix, codes("patients", name), n), share)
    onset = -(29 + draws.wait(24.0, n)).clip(1, 420)
    onset = np.where(draws.chance(0.012, n), -draws.whole(18, 27, n), onset)
    vague = draws.chance(0.06, n) & (onset < -60)
    rows["onset_day"] = draws.blanked(onset, 0.02, BLANK)
    rows["onset_day_latest"] = np.where(vague & (rows["onset_day"] != BLANK), onset + draws.whole(27, 30, n), BLANK)
    classes = (("1", 0.08), ("2", 0.37), ("3", 0.40), ("4", 0.14), ("5", 0.01))
    rows["asa_class"] = draws.blanked(1 + draws.pick(classes, tuple("12345"), n).astype(np.int64), share, BLANK)
    rows["comorbidity_index"] = draws.blanked(draws.wait(2.2, n) - 1, share, BLANK)
    asked = draws.chance(0.85, n)
    rows["duct"] = np.where(asked, disconnected, -1)
    rows["death_cause"] = _causes(draws, course, events)
    return rows


def _causes(draws: Draws, course: Course, events: Rows) -> np.ndarray:
    n = len(course)
    procedure = np.zeros(n, dtype=bool)
    procedure[events["patient_id"][events["fatal"]]] = True
    early = course.death < course.seen_resolved
    usual = np.where(draws.chance(np.where(early, 0.8, 0.15), n), CAUSES.index("pancreatitis"), CAUSES.index("other"))
    return np.where(procedure, CAUSES.index("procedure"), draws.blanked(usual, 0.02))


def other_interventions(draws: Draws, course: Course, events: Rows) -> Rows:
    """Percutaneous drains, surgery, embolisation and the rest, sorted by patient and day."""
    n = len(course)
    parts = []

    def add(who, day, kind, reason):
        parts.append(
            {
                "patient_id": who,
                "day": day,
                "kind": np.full(len(who), KINDS.index(kind)) if isinstance(kind, str) else kind,
                "reason": np.full(len(who), reason, dtype=object),
            }
        )

    drained = np.flatnonzero(course.drain < FAR)
    add(drained, course.drain[drained], "percutaneous_drain", "sepsis not controlled")
    operated = np.flatnonzero(course.surgery < FAR)
    ways = np.where(
        draws.chance(0.65, len(operated)),
        KINDS.index("minimally_invasive_necrosectomy"),
        KINDS.index("surgical_necrosectomy"),
    )
    add(operated, course.surgery[operated], ways, "no progress by endoscopy")
    for treatment, kind, reason in (("radiological", "embolisation", "bleeding"), ("surgical", "other", "repair")):
        mine = np.flatnonzero(events["treatment"] == TREATMENTS.index(treatment))
        bled = np.isin(events["event_type"][mine], (TYPES.index("bleeding"), TYPES.index("pseudoaneurysm")))
        mine = mine[bled] if treatment == "radiological" else mine
        add(events["patient_id"][mine], events["day"][mine], kind, reason)
    earlier = np.flatnonzero(draws.chance(0.04, n))
    add(earlier, -draws.whole(15, 28, len(earlier)), "ercp", "stone in the bile duct")
    day = draws.whole(25, 110, n)
    later = np.flatnonzero(draws.chance(0.09, n) & (day < course.death))
    add(later, day[later], "ercp", "pancreatic duct leak")
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    order = np.lexsort((whole["day"], whole["patient_id"]))
    return {name: values[order] for name, values in whole.items()}
