"""How much each class of instrument removed: a description, not yet a fair comparison.

What was recorded of each class of instrument, and every yield that counts for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from necrostats.definitions.attribution import ONE_CLASS
from necrostats.errors import unknown_choice
from necrostats.measures.credited_yields import PERCENT, SILENT, UNITS, Credited, Debridements, credited, debridements
from necrostats.measures.grouping import Grouping, counted, summary_row, summary_table
from necrostats.measures.needs import INSTRUMENTS, YIELDS, needing
from necrostats.measures.yield_contrasts import FEWEST_PATIENTS, FEWEST_SESSIONS, Setting
from necrostats.measures.yield_models import limits
from necrostats.registry.codebook import COMPARED_CLASSES, SESSIONS
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Summary
from necrostats.stats.intervals import FEW
from necrostats.stats.ranged_intercept import ranged_intercept


def class_record(found: Debridements, asked: Setting | None = None) -> pd.DataFrame:
    """What was recorded of each class before anything is left out, a row a class that was used, the most used first.

    Sessions it was used in and patients, alone and with others, and how their yields are written; with a setting, the
    sessions that count and whether the class is in the models.
    """
    rows = [_record(found, place, asked) for place in range(len(COMPARED_CLASSES)) if found.used[:, place].any()]
    table = pd.DataFrame(rows, columns=[*_RECORDED, *(_COUNTED if asked else ())])
    return table.sort_values(["necrosectomies", "instrument_class"], ascending=[False, True], ignore_index=True)


_RECORDED = (
    "instrument_class",
    "patients",
    "necrosectomies",
    "alone",
    "with_others",
    "yield_in_numbers",
    "in_words_only",
    "no_yield_written",
)
_COUNTED = ("sessions_counted", "patients_counted", "no_yield_at_all", "ranges", "in_models", "mean", "low", "high")


def _record(found: Debridements, place: int, asked: Setting | None) -> dict:
    here = found.used[:, place]
    record = {
        "instrument_class": COMPARED_CLASSES[place],
        "patients": np.unique(found.patient[here]).size,
        "necrosectomies": int(here.sum()),
        "alone": int((here & (found.classes == 1)).sum()),
        "with_others": int((here & (found.classes > 1)).sum()),
        "yield_in_numbers": int((here & found.numbered).sum()),
        "in_words_only": int((here & ~found.numbered & (found.word >= 0)).sum()),
        "no_yield_written": int((here & ~found.numbered & (found.word < 0)).sum()),
    }
    if asked is None:
        return record
    cell, (mean, low, high) = asked.cells[place], typical(asked, place)
    why = "yes" if cell.modelled else "no: too few" if not cell.large_enough else "no: limits on one side only"
    return record | {
        "sessions_counted": cell.sessions,
        "patients_counted": cell.patients,
        "no_yield_at_all": cell.nothing,
        "ranges": cell.ranged,
        "in_models": why,
        "mean": mean,
        "low": low,
        "high": high,
    }


def typical(asked: Setting, place: int) -> tuple[float, float, float]:
    """The crude mean of one class where there was some yield, with limits by patient: geometric, or of a share by its
    logit (never above 100). NaN where the class is too small, or known too loosely.
    """
    if not asked.cells[place].modelled:
        return np.nan, np.nan, np.nan
    return crude_mean(asked.rows.only(asked.member[:, place] & ~asked.rows.nothing), asked.level)[:3]


def crude_mean(rows: Credited, level: float) -> tuple[float, float, float, tuple[Note, ...]]:
    """The mean of amounts above nothing with limits by patient, and what the model has to say: geometric, or of a
    share by its logit. Without limits where all are the same; NaN where the amounts settle on none.
    """
    if rows.row.size and (rows.low == rows.high).all() and np.ptp(rows.low) == 0:
        return float(rows.low[0]), np.nan, np.nan, ()
    fit = ranged_intercept(*rows.scale, np.ones((rows.row.size, 1)), rows.patient, spread=False)
    patients = np.unique(rows.patient).size
    found = limits(float(fit.coefficient[0]), float(np.sqrt(fit.robust[0, 0])), patients - 1, level)
    ends = np.array([found.estimate, found.low, found.high])
    return *(100 * special.expit(ends) if rows.unit == PERCENT else np.exp(ends)).tolist(), fit.notes


def amounts_of(asked: Setting) -> pd.DataFrame:
    """Every yield that counts for one class: patient (a number), class, number of the session, low and high."""
    row, place = np.nonzero(asked.member)
    whose = np.unique(asked.rows.patient, return_inverse=True)[1]
    used = [each for each in range(len(COMPARED_CLASSES)) if (place == each).any()]
    return pd.DataFrame(
        {
            "patient": whose[row] + 1,
            "group": pd.Categorical(
                [COMPARED_CLASSES[each] for each in place],
                categories=[COMPARED_CLASSES[each] for each in used],
                ordered=True,
            ),
            "session_number": asked.found.number[asked.rows.row][row],
            "low": asked.rows.low[row],
            "high": asked.rows.high[row],
        }
    )


BY = ("instrument_class",)
UNIT_LABELS = {"ml": "yield, ml", "g": "yield, g", PERCENT: "yield, % cleared"}


@needing("Yield of necrosectomy by instrument class, one-class sessions", (INSTRUMENTS, YIELDS))
def debridement_yield(registry: Registry, *, by: str = "instrument_class", level: float = 0.95) -> Summary:
    """Mean yield by instrument class, over necrosectomies in which one class alone was used.

    Geometric for millilitres and grams; of a share cleared by its logit, so that no limit passes 100 %. Ranges and
    one-sided amounts enter as intervals, never as a midpoint; sessions with no yield at all are counted beside the
    mean (`events`), not in it; units are never pooled; `missing` are the class's sessions without an amount in numbers.
    A yield recorded for the instrument comes before that of its session. Intervals are clustered by patient.
    Crude: later sessions yield less, and instruments were chosen, not assigned.

    Counted: necrosectomies with an amount, in which one class alone was used.
    Source: a count or description, common practice.
    """
    if by not in BY:
        raise unknown_choice("grouping of the yield", by, BY)
    found = debridements(registry, whole=False)
    used = [unit for place, unit in enumerate(UNITS) if (found.unit == place).any()] or ["ml"]
    rows = {unit: credited(found, ONE_CLASS, unit) for unit in used}
    means = [_mean(found, rows[unit], place, level) for unit in used for place in range(len(COMPARED_CLASSES))]
    counts = np.concatenate([each.patient for each in rows.values()])
    return Summary(
        title="Yield of necrosectomy by instrument class, one-class sessions",
        frame=summary_table([mean.row for mean in means], Grouping(labels=COMPARED_CLASSES, codes=counts)),
        population=Population(
            patients=np.unique(counts).size, sessions=counts.size, left_out=_left_out(list(rows.values()))
        ),
        method=_method(level),
        notes=_notes(found, list(rows.values()), means),
    )


def _left_out(rows: list[Credited]) -> dict[str, int]:
    """Why sessions count in no unit; one in another unit counts there."""
    reasons = [reason for reason in rows[0].left_out if "another unit" not in reason]
    said = {reason: rows[0].left_out[reason] for reason in reasons}
    said[SILENT] = sum(each.left_out[SILENT] for each in rows)
    return said


@dataclass(frozen=True, kw_only=True, eq=False)
class _Mean:
    """The row of one class in one unit, and what its estimate has to say: `few` patients, or 0 if they are enough."""

    row: dict
    small: bool = False
    few: int = 0
    notes: tuple[Note, ...] = ()


def _mean(found: Debridements, rows: Credited, place: int, level: float) -> _Mean:
    here = rows.only(rows.instrument == place)
    some = here.only(~here.nothing)
    untold = found.used[:, place] & (found.classes == 1) & (~found.numbered | found.silent)
    row = summary_row(
        UNIT_LABELS[rows.unit],
        place,
        "mean" if rows.unit == PERCENT else "geometric mean",
        n=here.row.size,
        missing=int(np.count_nonzero(untold)),
        events=int(np.count_nonzero(here.nothing)),
        patients=np.unique(here.patient).size,
    )
    patients = np.unique(some.patient).size
    if some.row.size < FEWEST_SESSIONS or patients < FEWEST_PATIENTS:
        return _Mean(row=row, small=here.row.size > 0)
    mean, low, high, notes = crude_mean(some, level)
    return _Mean(
        row=row | {"estimate": mean, "low": low, "high": high},
        few=patients if patients < FEW else 0,
        notes=tuple(Note(code=note.code, text=f"{_name(row)}: {note.text}") for note in notes),
    )


def _method(level: float) -> Method:
    return Method(
        estimand="mean yield of a necrosectomy with one class of instrument, when there was some: geometric, or of a "
        "share cleared by its logit",
        estimator="normal maximum likelihood on the log or logit; ranges, less than and more than enter as intervals",
        interval="patient-clustered sandwich error, t with the number of patients less one",
        level=level,
        definition=f"{SESSIONS.row} for necrosectomy; lavage and peroxide are adjuncts and do not count as a class; "
        "sessions with no yield at all are counted beside the mean; units are never pooled",
    )


def _notes(found: Debridements, each: list[Credited], means: list[_Mean]) -> tuple[Note, ...]:
    nothing = sum(mean.row["events"] for mean in means)
    silent = sum(rows.left_out[SILENT] for rows in each)
    ranged = sum(int(np.count_nonzero(rows.low != rows.high)) for rows in each)
    counts = sum(rows.row.size for rows in each)
    shared, all_of_them = int(np.count_nonzero(found.classes > 1)), found.session.size
    small = [_name(mean.row) for mean in means if mean.small]
    few = [f"{_name(mean.row)} {mean.few}" for mean in means if mean.few]
    said = {
        "SHARED_SESSIONS": shared
        and f"{shared:,} of {all_of_them:,} necrosectomies ({100 * shared / all_of_them:.0f} %) used more than one "
        "class of instrument and are left out here.",
        "ZERO_YIELD": nothing
        and f"{counted(nothing, 'session', 'sessions')} with no yield at all: counted beside the means, not in them.",
        "INTERVAL_CENSORED": ranged
        and f"{ranged:,} of {counts:,} yields were written as a range, or as less or more than a number, and are used "
        "as such.",
        "MISSING": _missing(found, silent),
        "SMALL_N": small
        and f"Fewer than {FEWEST_SESSIONS} sessions with a yield, or {FEWEST_PATIENTS} patients, so counted and not "
        f"estimated: {', '.join(small)}.",
        "FEW_CLUSTERS": few
        and f"Fewer than {FEW} patients, so limits that allow for several sessions of one patient are approximate: "
        f"{', '.join(few)}.",
    }
    from_means = [note for mean in means for note in mean.notes]
    return (*(Note(code=code, text=text) for code, text in said.items() if text), *from_means)


def _missing(found: Debridements, silent: int) -> str:
    """Amounts missing by class, before anything is left out."""
    said = []
    for place, name in enumerate(COMPARED_CLASSES):
        here = found.used[:, place]
        if without := int(np.count_nonzero(here & ~found.numbered)):
            said.append(f"{name.replace('_', ' ')} {without:,} of {int(here.sum()):,}")
    text = f"Necrosectomies without a yield in numbers, by class used: {', '.join(said)}." if said else ""
    alone = counted(silent, "yield says", "yields say")
    return f'{text} {alone} nothing but "more than 0": left out.'.strip() if silent else text


def _name(row: dict) -> str:
    return f"{COMPARED_CLASSES[row['group']].replace('_', ' ')} ({row['variable']})"
