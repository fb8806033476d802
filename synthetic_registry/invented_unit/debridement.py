"""Which instrument classes were used in a session, how much came out, and how somebody wrote it down."""

from __future__ import annotations

import numpy as np

from invented_unit.calendar import Calendar
from invented_unit.course import Course
from invented_unit.draws import BLANK, Draws, codes
from invented_unit.parameters import Parameters
from invented_unit.sessions import Rows
from necrostats.registry.codebook import COMPARED_CLASSES

CLASSES = codes("instrument_uses", "instrument_class")
TOUGH = codes("sessions", "texture").index("tough")
UNITS = codes("sessions", "yield_unit")
WORDS = codes("sessions", "yield_words")
SUFFIXES = np.array([" ml", " g", " %", ""], dtype=object)
WAYS = ("exact", "about", "range", "word", "nothing")


def choose_instruments(draws: Draws, sessions: Rows, course: Course, parameters: Parameters, calendar: Calendar):
    """Add `class_1` … `class_3` (places in CLASSES, -1 = none) and their shares of the time, (sessions, 3)."""
    n = len(sessions["day"])
    debrides = sessions["number"] > 0
    harder = (sessions["texture_met"] == TOUGH) | (sessions["number"] >= 3)
    share = np.where(harder, parameters.late_class_share_tough_or_later, parameters.late_class_share)
    on = course.index_on[sessions["patient_id"]] + sessions["day"]
    late = draws.chance(share, n) & (on >= calendar.first_day_of(parameters.late_class_from))
    usual = draws.pick(parameters.classes, CLASSES, n).astype(np.int64)
    first = np.where(late, CLASSES.index(parameters.late_class), usual)
    known = np.array([CLASSES.index(name) for name, _ in parameters.classes])
    place = np.searchsorted(known, usual)
    step = draws.whole(1, len(known) - 1, n)
    second = known[(place + step) % len(known)]
    third = known[(place + step % (len(known) - 1) + 1) % len(known)]
    u = draws.uniform(n)
    three = u < parameters.three_classes_share
    several = u < parameters.three_classes_share + parameters.two_classes_share
    odd = draws.uniform(n)
    cuts = np.cumsum([parameters.class_unknown_share, parameters.class_other_share, parameters.class_blank_share])
    single = np.select(
        [odd < cuts[0], odd < cuts[1], odd < cuts[2]], [CLASSES.index("unknown"), CLASSES.index("other"), -1], first
    )
    plain = single == first
    used = np.stack([single, np.where(several & plain, second, -1), np.where(three & plain, third, -1)], axis=1)
    sessions["classes"] = np.where(debrides[:, None], used, -1)
    sessions["shares"] = _shares(draws, sessions["classes"] >= 0)


def _shares(draws: Draws, used: np.ndarray) -> np.ndarray:
    weight = np.where(used, 0.3 + draws.uniform(*used.shape), 0.0)
    total = weight.sum(axis=1, keepdims=True)
    return weight / np.where(total > 0, total, 1.0)


def draw_yields(draws: Draws, sessions: Rows, course: Course, parameters: Parameters) -> None:
    """Add `true_ml` (0 = none, NaN = no debridement): the falling, patient-wise log-normal yield."""
    number, n = sessions["number"], len(sessions["number"])
    patient = parameters.yield_patient_sd * draws.normal(len(course))
    texture = np.log([ratio for _, ratio in parameters.yield_by_texture])[sessions["texture_met"]]
    effect = np.where(
        sessions["classes"] == CLASSES.index(parameters.late_class),
        parameters.late_class_yield_ratio,
        parameters.other_class_yield_ratio,
    )
    ratio = np.where(number > 0, (effect * sessions["shares"]).sum(axis=1), 1.0)
    ratio = np.where(ratio > 0, ratio, 1.0)
    log_ml = (
        np.log(parameters.yield_first_session_ml)
        + np.log(parameters.yield_ratio_per_session) * (number - 1)
        + patient[sessions["patient_id"]]
        + texture
        + np.log(ratio)
        + parameters.yield_residual_sd * draws.normal(n)
    )
    none = draws.chance(parameters.no_yield_share_first + parameters.no_yield_step * (number - 1), n)
    sessions["true_ml"] = np.where(number > 0, np.where(none, 0.0, np.exp(log_ml)), np.nan)
    sessions["one_class"] = (sessions["classes"] >= 0).sum(axis=1) == 1
    sessions["one_class"] &= np.isin(sessions["classes"][:, 0], [CLASSES.index(name) for name in COMPARED_CLASSES])
    sessions["yield_unit"] = np.where(number > 0, draws.pick(parameters.yield_unit, UNITS, n), -1)


def write_yields(draws: Draws, sessions: Rows, parameters: Parameters) -> None:
    """Add the yield columns as a person would have filled them: exact, about, a range, an open end or a word."""
    n = len(sessions["number"])
    ml = np.nan_to_num(sessions["true_ml"])
    unit = sessions["yield_unit"].astype(np.int64)
    way = draws.pick(parameters.yield_written, WAYS, n).astype(np.int64)
    amount = np.where(ml > 0, (5 * np.round(ml / 5)).clip(5), 0).astype(np.int64)
    percent = np.where(ml > 0, (5 * np.round(20 * ml / (ml + 150))).clip(5, 95), 0).astype(np.int64)
    amount = np.where(unit == UNITS.index("percent_cleared"), percent, amount)
    step = np.where(ml < 100, 50, np.where(ml < 600, 100, 500))
    low = (np.floor(ml / step) * step).astype(np.int64)
    as_range = (way == WAYS.index("range")) & (ml > 0) & (unit != UNITS.index("percent_cleared"))
    in_ml = (unit == UNITS.index("ml")) & (ml > 0) & np.isin(way, (0, 1, 2))
    less = in_ml & (ml < 50) & draws.chance(parameters.less_than_50_share, n)
    more = in_ml & (ml > 500) & draws.chance(parameters.more_than_500_share, n)
    as_range &= ~less & ~more
    numbered = (sessions["number"] > 0) & np.isin(way, (0, 1, 2))
    worded = (sessions["number"] > 0) & (way == WAYS.index("word"))
    low = np.select([less, more, as_range], [0, 500, low], amount)
    high = np.select([less, more, as_range], [50, BLANK, low + step], amount)
    sessions["yield_low"] = np.where(numbered, low, BLANK)
    sessions["yield_high"] = np.where(numbered, high, BLANK)
    sessions["yield_unit"] = np.where(numbered, sessions["yield_unit"], -1).astype(np.int8)
    about = numbered & (way == WAYS.index("about")) & ~less & ~more & (ml > 0)
    sessions["yield_approximate"] = np.where(numbered, about, -1).astype(np.int8)
    word = np.searchsorted([0.5, 30.0, 80.0, 200.0], ml)
    sessions["yield_words"] = np.where(worded, word, -1)
    sessions["yield_as_written"] = _as_written(sessions, numbered, worded, about, less, more, as_range)
    lavage = np.where(draws.chance(0.02, n), 1, 0)
    sessions["yield_includes_lavage"] = np.where(numbered & sessions["lavage"] & draws.chance(0.9, n), lavage, -1)


def _as_written(sessions: Rows, numbered, worded, about, less, more, as_range) -> np.ndarray:
    top = 3000
    plain = np.array([str(each) for each in range(top)], dtype=object)
    low, high = sessions["yield_low"].clip(0, top - 1), sessions["yield_high"].clip(0, top - 1)
    suffix = SUFFIXES[sessions["yield_unit"]]
    exact = plain[low] + suffix
    text = np.where(about, "~" + exact, exact)
    text = np.where(as_range, plain[low] + "-" + plain[high] + suffix, text)
    text = np.where(less, "<50 ml", np.where(more, ">500 ml", text))
    words = np.array([*WORDS], dtype=object)[sessions["yield_words"]]
    return np.where(numbered, text, np.where(worded, words, ""))


def instrument_uses(draws: Draws, sessions: Rows) -> Rows:
    """One row an instrument class or adjunct in a session, sorted by session and order of use."""
    classes, shares = sessions["classes"], sessions["shares"]
    count = (classes >= 0).sum(axis=1)
    largest = np.argmax(shares, axis=1)
    flagged = np.where(count > 1, draws.chance(0.92, len(count)), draws.chance(0.96, len(count)))
    timed = draws.chance(0.8, len(count)) & (sessions["minutes_debridement"] != BLANK)
    counted = draws.chance(0.7, len(count)) & (sessions["passes"] != BLANK)
    measured = np.isin(sessions["yield_unit"], (UNITS.index("ml"), UNITS.index("g")))
    each = (count > 1) & draws.chance(0.12, len(count)) & measured
    each &= (sessions["yield_low"] == sessions["yield_high"]) & (sessions["yield_low"] > 30)
    parts = []
    for place in range(3):
        rows = np.flatnonzero(classes[:, place] >= 0)
        parts.append(_uses(rows, sessions, place, largest, flagged, timed, counted, each))
    for name in ("lavage", "peroxide"):
        rows = np.flatnonzero(sessions[name] & (count > 0))
        parts.append(_adjunct(rows, CLASSES.index(name), count + 1 + (name == "peroxide") * sessions["lavage"]))
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    order = np.lexsort((whole["use_order"], whole["session_id"]))
    return {name: values[order] for name, values in whole.items()}


def _uses(rows, sessions: Rows, place: int, largest, flagged, timed, counted, each) -> Rows:
    share = sessions["shares"][rows, place]
    minutes = np.floor(sessions["minutes_debridement"][rows] * share).astype(np.int64)
    passes = np.floor(sessions["passes"][rows] * share).astype(np.int64)
    part = (5 * np.floor(sessions["yield_low"][rows] * share / 5)).astype(np.int64)
    by_class, unit = each[rows], sessions["yield_unit"][rows]
    primary = np.where(flagged[rows], largest[rows] == place, -1)
    kind = sessions["classes"][rows, place]
    return {
        "session_id": rows,
        "instrument_class": kind,
        "other_text": np.where(kind == CLASSES.index("other"), "stone balloon through the tract", "").astype(object),
        "use_order": np.full(len(rows), place + 1),
        "is_primary": primary,
        "passes": np.where(counted[rows], passes, BLANK),
        "minutes": np.where(timed[rows], minutes, BLANK),
        "yield_low": np.where(by_class, part, BLANK),
        "yield_high": np.where(by_class, part, BLANK),
        "yield_unit": np.where(by_class, unit, -1),
        "yield_as_written": np.where(by_class, part.astype(str).astype(object) + SUFFIXES[unit], "").astype(object),
    }


def _adjunct(rows: np.ndarray, kind: int, order: np.ndarray) -> Rows:
    n = len(rows)
    blank, none = np.full(n, BLANK), np.full(n, "", dtype=object)
    return {
        "session_id": rows,
        "instrument_class": np.full(n, kind),
        "other_text": none,
        "use_order": order[rows],
        "is_primary": np.zeros(n, dtype=np.int64),
        "passes": blank,
        "minutes": blank,
        "yield_low": blank,
        "yield_high": blank,
        "yield_unit": np.full(n, -1),
        "yield_as_written": none,
    }
