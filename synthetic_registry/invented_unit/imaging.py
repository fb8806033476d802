"""Collections, the scans that measure them and the clinical reviews held on the same days."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from invented_unit.course import Course
from invented_unit.draws import BLANK, FAR, Draws, codes
from invented_unit.parameters import Parameters
from invented_unit.sessions import DRAINAGE, Rows

SITES = codes("collections", "site")
INDEX_SITE = (
    ("lesser_sac", 0.72),
    ("left_paracolic", 0.14),
    ("right_paracolic", 0.05),
    ("mesenteric", 0.05),
    ("pelvic", 0.02),
    ("other", 0.02),
)
FURTHER_SITE = (
    ("left_paracolic", 0.45),
    ("right_paracolic", 0.25),
    ("pelvic", 0.12),
    ("mesenteric", 0.12),
    ("other", 0.06),
)
METHODS = (("segmented", 0.4), ("ellipsoid", 0.35), ("reported", 0.25))
MODALITIES = codes("scans", "modality")
INDEX, SECOND, LATE = range(3)


@dataclass(frozen=True, kw_only=True, eq=False)
class Imaging:
    """Three tables, sorted by patient and day; `collection_id` is a row number in collections."""

    collections: Rows
    scans: Rows
    reviews: Rows


def draw_imaging(draws: Draws, course: Course, parameters: Parameters) -> Imaging:
    """The collections of every patient, the scans of each and the reviews."""
    collections = _collections(draws, course, parameters)
    who, day = _scan_days(course)
    return Imaging(
        collections=collections,
        scans=_scans(draws, course, collections, who, day, parameters),
        reviews=_reviews(draws, course, who, day),
    )


def _collections(draws: Draws, course: Course, parameters: Parameters) -> Rows:
    n = len(course)
    late = course.late_found < FAR
    second = draws.chance(parameters.second_collection_share, n) & ~late
    there = np.stack([np.ones(n, dtype=bool), second, late], axis=1)
    who, slot = np.nonzero(there)
    m = len(who)
    row_of = np.cumsum(there).reshape(there.shape) - 1
    index = slot == INDEX
    seen = np.where(slot == LATE, course.late_found[who], -draws.whole(2, 40, m))
    scan = np.where(slot == LATE, seen, np.where(index, -draws.whole(1, 12, n)[who], 0))
    scan = np.where(slot == SECOND, scan[row_of[who, INDEX]], scan)
    long = np.where(index, 75 + draws.whole(0, 60, m) + draws.whole(0, 45, m), 48 + draws.whole(0, 60, m))
    mid, short = _axes(draws, long)
    volume = _volume(draws, long, mid, short)
    leads = draws.uniform(n)[who]
    sooner = np.ceil(course.size_day[who] * (0.5 + 0.5 * leads)).astype(np.int64)
    last = index | (slot == LATE)
    method = draws.pick(METHODS, codes("collections", "volume_method"), m)
    joined = (slot == LATE) | ((slot == SECOND) & draws.chance(0.5, m))
    quadrants = 1 + np.floor(draws.uniform(m) * (1 + long / 60)).astype(np.int64).clip(0, 3)
    share = parameters.blank_share
    return {
        "patient_id": who,
        "slot": slot,
        "is_index": index.astype(np.int8),
        "site": np.where(index, draws.pick(INDEX_SITE, SITES, m), draws.pick(FURTHER_SITE, SITES, m)),
        "detected_day": np.minimum(seen, np.where(slot == LATE, seen, scan)),
        "communicates_with": np.where(joined, row_of[who, INDEX], -1),
        "quadrants": draws.blanked(quadrants, share, BLANK),
        "long_mm": long,
        "mid_mm": draws.blanked(mid, share, BLANK),
        "short_mm": draws.blanked(short, share, BLANK),
        "volume_ml": draws.blanked(volume, 0.05, BLANK),
        "volume_method": method,
        "solid_percent": draws.blanked(course.solid[who], 0.05, BLANK),
        "encapsulated": draws.blanked(draws.chance(0.94, m).astype(np.int8), share),
        "baseline_scan_day": scan,
        "small_from": np.where(last, course.size_day[who], sooner),
    }


def _axes(draws: Draws, long: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    mid = np.round(long * (0.65 + 0.3 * draws.uniform(len(long)))).astype(np.int64)
    short = np.round(mid * (0.65 + 0.3 * draws.uniform(len(long)))).astype(np.int64)
    return mid, short


def _volume(draws: Draws, long, mid, short) -> np.ndarray:
    """Whole millilitres near the ellipsoid's; blank where too small to be measured."""
    noise = np.exp(0.1 * draws.normal(len(long)).clip(-3, 3))
    ml = np.round(np.pi / 6 * long * mid * short / 1000 * noise).astype(np.int64)
    return np.where((ml < 2) & (long > 0), BLANK, ml)


def _scan_days(course: Course) -> tuple[np.ndarray, np.ndarray]:
    days = np.concatenate([np.where(course.seen, course.visit, FAR), course.follow_up], axis=1)
    days.sort(axis=1)
    who, place = np.nonzero(days < FAR)
    return who, days[who, place]


def _scans(draws: Draws, course: Course, collections: Rows, who, day, parameters: Parameters) -> Rows:
    owner = collections["patient_id"]
    first = np.searchsorted(owner, who)
    several = np.searchsorted(owner, who, side="right") - first
    modality = draws.pick((("ct", 0.72), ("mri", 0.17), ("eus", 0.06), ("us", 0.05)), MODALITIES, len(who))
    elsewhere = draws.blanked(draws.chance(0.07, len(who)).astype(np.int8), 0.04)
    parts = [_baseline(draws, collections)]
    for place in range(2):
        mine = np.flatnonzero(several > place)
        row = first[mine] + place
        found = day[mine] >= np.where(collections["slot"][row] == LATE, collections["detected_day"][row], 0)
        mine, row = mine[found], row[found]
        parts.append(_measured(draws, course, collections, row, day[mine], modality[mine], elsewhere[mine]))
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    order = np.lexsort((whole["collection_id"], whole["day"], whole["patient_id"]))
    scans = {name: values[order] for name, values in whole.items()}
    large = scans["long_mm"] > 30
    for name in ("mid_mm", "short_mm"):
        scans[name] = np.where(large & draws.chance(parameters.blank_share, len(large)), BLANK, scans[name])
    return scans


def _baseline(draws: Draws, collections: Rows) -> Rows:
    rows = np.flatnonzero(collections["slot"] != LATE)
    kept = {name: collections[name][rows] for name in ("patient_id", "long_mm", "mid_mm", "short_mm", "volume_ml")}
    modality = np.zeros(len(rows), dtype=np.int8)
    return {
        **kept,
        "collection_id": rows,
        "day": collections["baseline_scan_day"][rows],
        "modality": modality,
        "solid_percent": collections["solid_percent"][rows],
        "elsewhere": np.zeros(len(rows), dtype=np.int8),
    }


def _measured(draws: Draws, course: Course, collections: Rows, row, day, modality, elsewhere) -> Rows:
    n, who = len(row), collections["patient_id"][row]
    base, until = collections["long_mm"][row], collections["small_from"][row]
    left = np.clip(1.0 - day / (until + 1.0), 0.0, 1.0) ** 0.6
    shrunk = 31 + np.floor((base - 31) * left * np.exp(0.1 * draws.normal(n))).astype(np.int64)
    gone = np.where(draws.chance(0.4, n), 0, draws.whole(4, 30, n))
    long = np.where(day >= until, gone, np.minimum(shrunk, np.round(base * 1.15).astype(np.int64)))
    back = course.recurs[who] & (day == course.follow_up[who, 1]) & (collections["slot"][row] == INDEX)
    long = np.where(back, draws.whole(38, 80, n), long)
    mid, short = _axes(draws, long)
    volume = _volume(draws, long, mid, short)
    solid = np.round(course.solid[who] * (0.4 + 0.6 * draws.uniform(n)) / 5) * 5
    wordless = modality == MODALITIES.index("us")
    return {
        "patient_id": who,
        "collection_id": row,
        "day": day,
        "modality": modality,
        "long_mm": long,
        "mid_mm": mid,
        "short_mm": short,
        "volume_ml": np.where(wordless | draws.chance(0.1, n), BLANK, volume),
        "solid_percent": np.where(wordless | (long == 0) | draws.chance(0.3, n), BLANK, solid).astype(np.int64),
        "elsewhere": elsewhere,
    }


def _reviews(draws: Draws, course: Course, who: np.ndarray, day: np.ndarray) -> Rows:
    n = len(who)
    back = course.recurs[who] & (day == course.follow_up[who, 1])
    free = (day >= course.symptom_day[who]) & ~back
    spare = (day < course.size_day[who]) | back
    fever = np.where(free, 0, draws.chance(0.18, n)).astype(np.int8)
    eating = np.where(free, draws.chance(0.98, n), draws.chance(0.6, n)).astype(np.int8)
    kept = ~(spare & draws.chance(0.05, n))
    blank = spare & draws.chance(0.04, n)
    rows = {
        "patient_id": who,
        "day": day,
        "symptom_free": np.where(blank, -1, free),
        "fever": draws.blanked(fever, 0.05),
        "oral_diet": draws.blanked(eating, 0.04),
    }
    return {name: values[kept] for name, values in rows.items()}


def treated_collections(draws: Draws, sessions: Rows, collections: Rows) -> None:
    """Add the collection each session treated first and (sessions, 1) the further one, as rows in collections."""
    who, n = sessions["patient_id"], len(sessions["day"])
    first = np.searchsorted(collections["patient_id"], who)
    other = first + 1
    has_other = np.append(collections["patient_id"], -1)[other] == who
    known = has_other & (np.append(collections["detected_day"], FAR)[other] <= sessions["day"])
    late = np.append(collections["slot"], -1)[other] == LATE
    turns = known & late & (sessions["number"] > 0) & draws.chance(0.4, n)
    both = known & ~turns & (sessions["number"] > 0) & draws.chance(0.35, n)
    sessions["collection_id"] = np.where(turns & (sessions["session_type"] != DRAINAGE), other, first)
    sessions["also_treated"] = np.where(both, other, -1)
