"""How each kind of record looks on a patient's line: told apart by shape, filling and place as well as by colour.

Blue is endoscopy, purple other treatment, vermillion an adverse event, green resolution, black an end or none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.grades import AGREE
from necrostats.present.style import INK, STYLES
from necrostats.results import Courses

BLUE, VERMILLION, GREEN, PURPLE, BLACK = (style.colour for style in STYLES)
ABOVE, ON, BELOW, LOWEST = -0.28, 0.0, 0.27, 0.42  # the lanes of a line, as shares of its height; down is positive

METAL = ("lumen_apposing", "self_expanding_metal")


@dataclass(frozen=True, kw_only=True)
class Look:
    """A mark: the words of the key, its lane, and a marker; or a bar, where `bar` gives its thickness and dashes."""

    words: str
    colour: str
    lane: float = ON
    marker: str = ""
    filled: bool = True
    size: float = 1.0
    bar: float = 0.0
    dashes: object = "-"
    top: int = 4


SERIOUS = f"AGREE {AGREE.serious_from} or higher"
LOOKS = {
    "drainage": Look(words="drainage", colour=BLUE, marker="v", filled=False, size=1.35),
    "necrosectomy": Look(words="necrosectomy", colour=BLUE, marker="o", top=5),
    "other session": Look(words="other endoscopy session", colour=BLUE, marker="o", filled=False, size=0.7),
    "metal": Look(words="metal stent in place", colour=BLUE, lane=BELOW, bar=0.17, top=2),
    "plastic": Look(words="plastic stent or nasal drain in place", colour=BLUE, lane=LOWEST, bar=0.06, top=3),
    "percutaneous": Look(words="drain through the skin in place", colour=PURPLE, lane=LOWEST, bar=0.08,
                         dashes=(0, (2, 1)), top=3),
    "unknown end": Look(words="stent placed, day out not known", colour=BLUE, lane=BELOW, marker="4", size=1.1),
    "scan": Look(words="scan", colour=INK, marker="|", size=1.25, top=3),
    "serious": Look(words=f"adverse event, {SERIOUS}", colour=VERMILLION, lane=ABOVE, marker="D", size=0.85, top=7),
    "milder": Look(words="adverse event, milder", colour=VERMILLION, lane=ABOVE, marker="D", filled=False,
                   size=0.8, top=6),
    "ungraded": Look(words="adverse event, no grade", colour=VERMILLION, lane=ABOVE, marker="x", size=0.8, top=6),
    "surgery": Look(words="surgery", colour=PURPLE, marker="*", size=1.6, top=8),
    "percutaneous drain": Look(words="percutaneous drain", colour=PURPLE, marker="p", filled=False, size=1.3, top=8),
    "other intervention": Look(words="other intervention", colour=PURPLE, lane=ABOVE, marker="+", top=5),
    "resolved": Look(words="resolution documented", colour=GREEN, marker="s", size=1.15, top=8),
    "death": Look(words="death", colour=BLACK, marker="X", size=1.4, top=9),
    "open": Look(words="unresolved and still followed", colour=BLACK, marker=">", size=1.3, top=8),
    "lost": Look(words="unresolved, lost to view", colour=BLACK, marker=">", filled=False, size=1.3, top=8),
}  # fmt: skip
_SAME = ("drainage", "necrosectomy", "other session", "scan", "surgery", "percutaneous drain", "other intervention",
         "resolved", "death")  # fmt: skip


def marks(result: Courses, until: int) -> pd.DataFrame:
    """What is drawn of the records up to a day: patient, look, x, x_to (blank for a mark with one day), grade."""
    table = result.table
    what = table["what"].astype(object)
    look = what.where(what.isin(_SAME), "")
    look = look.mask(what == "stent", _stent_looks(table)).mask(what == "adverse event", _event_looks(table))
    look = look.mask(what == "course", _way_of_not_ending(table))
    day, day_to = table["day"].astype("float64"), table["day_to"].astype("float64")
    is_course = (what == "course").to_numpy()
    drawn = pd.DataFrame(
        {
            "patient": table["patient"],
            "look": look,
            "x": np.where(is_course, day_to, day),
            "x_to": np.where(is_course, np.nan, day_to),
            "grade": table["grade"].astype(object),
        }
    )
    inside = (drawn["look"] != "") & (drawn["x"] >= 0) & (drawn["x"] <= until)
    return drawn[inside].assign(x_to=drawn["x_to"].clip(upper=until))


def spans(result: Courses, until: int) -> pd.DataFrame:
    """The line of each patient: patient, whether it is the course or what followed it, from and to."""
    kept = result.table[result.table["what"].isin(["course", "follow-up"])]
    spans = pd.DataFrame(
        {
            "patient": kept["patient"],
            "is_course": kept["what"] == "course",
            "x": kept["day"].astype("float64"),
            "x_to": kept["day_to"].astype("float64").clip(upper=until),
        }
    )
    return spans[spans["x"] <= until]


def undrawn(result: Courses, patients: list[int], until: int) -> tuple[int, int]:
    """How many records of these patients lie before day 0, and how many after the last day drawn."""
    table = result.table
    dated = table[table["patient"].isin(patients) & ~table["what"].isin(["course", "follow-up"])]
    return int((dated["day"] < 0).sum()), int((dated["day"] > until).sum())


def is_open(outcome: pd.Series) -> pd.Series:
    """Whether a course has not ended: still under treatment, or unresolved at the horizon."""
    names = outcome.astype(object).astype(str)
    return names.str.startswith("unresolved at day") | (names == "still under treatment")


def _stent_looks(table: pd.DataFrame) -> pd.Series:
    kind = table["detail"]
    looks = pd.Series("plastic", index=table.index, dtype=object).mask(kind.isin(METAL).to_numpy(bool), "metal")
    looks = looks.mask((kind == "percutaneous").fillna(False).to_numpy(bool), "percutaneous")
    return looks.mask(table["day_to"].isna().to_numpy(bool), "unknown end")


def _event_looks(table: pd.DataFrame) -> pd.Series:
    grade = table["grade"].astype(object)
    looks = pd.Series("milder", index=table.index, dtype=object)
    return looks.mask(grade.isin(AGREE.at_least(AGREE.serious_from)), "serious").mask(grade.isna(), "ungraded")


def _way_of_not_ending(table: pd.DataFrame) -> pd.Series:
    looks = pd.Series("", index=table.index, dtype=object).mask(is_open(table["outcome"]), "open")
    return looks.mask(table["outcome"].astype(object).astype(str).str.startswith("lost to view"), "lost")
