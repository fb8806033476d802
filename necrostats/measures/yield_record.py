"""What was recorded of each class of instrument, and every yield that counts for it."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import special

from necrostats.measures.credited_yields import PERCENT, Credited, Debridements
from necrostats.measures.yield_contrasts import Setting
from necrostats.measures.yield_models import limits
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.results import Note
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
