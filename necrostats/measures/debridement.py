"""How much each class of instrument removed: a description, not yet a fair comparison."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.attribution import ONE_CLASS
from necrostats.errors import unknown_choice
from necrostats.measures.credited_yields import PERCENT, SILENT, UNITS, Credited, Debridements, credited, debridements
from necrostats.measures.grouping import Grouping, counted, summary_row, summary_table
from necrostats.measures.needs import INSTRUMENTS, YIELDS, needing
from necrostats.measures.yield_contrasts import FEWEST_PATIENTS, FEWEST_SESSIONS
from necrostats.measures.yield_record import crude_mean
from necrostats.registry.codebook import COMPARED_CLASSES, SESSIONS
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Summary
from necrostats.stats.intervals import FEW

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
