"""How much each class of instrument removed: a description, not yet a fair comparison."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.measures.grouping import Grouping, counted, summary_row, summary_table
from necrostats.measures.needs import INSTRUMENTS, YIELDS, needing
from necrostats.registry.codebook import COMPARED_CLASSES, INSTRUMENT_USES, NECROSECTOMIES, SESSIONS
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Summary
from necrostats.stats.clusters import FEW
from necrostats.stats.parametric_times import lognormal_mean

BY = ("instrument_class",)
UNIT_LABELS = {"ml": "yield, ml", "g": "yield, g", "percent_cleared": "yield, % cleared"}
_CLASSES = INSTRUMENT_USES.column("instrument_class").codes
SMALL_CELL_SESSIONS, SMALL_CELL_PATIENTS = 5, 3


@dataclass(frozen=True, kw_only=True, eq=False)
class _Credited:
    """Necrosectomies with one class of instrument and a yield in numbers, and why the others are left out."""

    sessions: pd.DataFrame
    patient: np.ndarray
    instrument: np.ndarray
    necrosectomies: int
    shared: int
    left_out: dict[str, int]


@needing("Yield of necrosectomy by instrument class, one-class sessions", (INSTRUMENTS, YIELDS))
def debridement_yield(registry: Registry, *, by: str = "instrument_class", level: float = 0.95) -> Summary:
    """Geometric mean yield by instrument class, over necrosectomies in which one class alone was used.

    Ranges and one-sided amounts enter as intervals of a log-normal, never as a midpoint; sessions with no yield at
    all are counted beside the mean (`events`), not in it; units are never pooled. Intervals are clustered by patient.
    Crude: later sessions yield less, and instruments were chosen, not assigned.

    Counted: necrosectomies with an amount, in which one class alone was used.
    Source: a count or description, common practice.
    """
    if by not in BY:
        raise unknown_choice("grouping of the yield", by, BY)
    credited = _credited(registry)
    groups = Grouping(labels=COMPARED_CLASSES, codes=credited.instrument)
    units = [unit for unit in UNIT_LABELS if (credited.sessions["yield_unit"] == unit).any()] or ["ml"]
    means = [_mean(credited, unit, place, level) for unit in units for place in range(len(COMPARED_CLASSES))]
    return Summary(
        title="Yield of necrosectomy by instrument class, one-class sessions",
        frame=summary_table([mean.row for mean in means], groups),
        population=Population(
            patients=np.unique(credited.patient).size, sessions=len(credited.sessions), left_out=credited.left_out
        ),
        method=_method(level),
        notes=_notes(credited, means),
    )


def _credited(registry: Registry) -> _Credited:
    sessions = registry.sessions
    necrosectomy = sessions["session_type"].isin(NECROSECTOMIES).to_numpy()
    classes, sole = _classes_used(registry)
    numeric = (sessions["yield_low"].notna() & sessions["yield_unit"].notna()).to_numpy()
    lavage = sessions["yield_includes_lavage"].fillna(False).to_numpy(dtype=bool)
    steps = {
        "necrosectomies with more than one instrument class": classes > 1,
        "necrosectomies without a recorded instrument class": classes == 0,
        "necrosectomies with an instrument of class other or unknown": sole >= len(COMPARED_CLASSES),
        "necrosectomies without a yield in numbers": ~numeric,
        "necrosectomies whose yield includes lavage fluid": lavage,
    }
    kept, left_out = necrosectomy.copy(), {}
    for reason, excluded in steps.items():
        left_out[reason] = int(np.count_nonzero(kept & excluded))
        kept &= ~excluded
    return _Credited(
        sessions=sessions[kept].reset_index(drop=True),
        patient=registry.position("sessions")[kept],
        instrument=sole[kept],
        necrosectomies=int(np.count_nonzero(necrosectomy)),
        shared=left_out["necrosectomies with more than one instrument class"],
        left_out=left_out,
    )


def _classes_used(registry: Registry) -> tuple[np.ndarray, np.ndarray]:
    """For each session, how many instrument classes were used, adjuncts aside, and one of them as its place."""
    places = [*COMPARED_CLASSES, "other", "unknown"]
    place_of = np.array([places.index(name) if name in places else -1 for name in _CLASSES])
    place = place_of[registry.instrument_uses["instrument_class"].cat.codes.to_numpy()]
    session = registry.position("instrument_uses", "sessions").astype(np.int64)[place >= 0]
    used = np.unique(session * len(places) + place[place >= 0])
    classes = np.bincount(used // len(places), minlength=len(registry.sessions))
    sole = np.full(len(registry.sessions), -1)
    sole[used // len(places)] = used % len(places)
    return classes, sole


@dataclass(frozen=True, kw_only=True, eq=False)
class _Mean:
    """The row of one class in one unit, and what its estimate has to say: `few` patients, or 0 if they are enough."""

    row: dict
    small: bool = False
    few: int = 0
    notes: tuple[Note, ...] = ()


def _mean(credited: _Credited, unit: str, place: int, level: float) -> _Mean:
    here = (credited.instrument == place) & (credited.sessions["yield_unit"] == unit).to_numpy()
    low = credited.sessions["yield_low"].to_numpy()[here]
    high = credited.sessions["yield_high"].to_numpy()[here]
    patient = credited.patient[here]
    silent = (low == 0) & np.isnan(high)
    some = ~((low == 0) & (high == 0)) & ~silent
    row = summary_row(
        UNIT_LABELS[unit],
        place,
        "geometric mean",
        n=int((~silent).sum()),
        missing=int(silent.sum()),
        events=int((~some & ~silent).sum()),
        patients=np.unique(patient[~silent]).size,
    )
    patients = np.unique(patient[some]).size
    if some.sum() < SMALL_CELL_SESSIONS or patients < SMALL_CELL_PATIENTS:
        return _Mean(row=row, small=bool(here.any()))
    found = lognormal_mean(low[some], high[some], patient[some], level=level)
    few = [note for note in found.notes if note.code == "FEW_CLUSTERS"]
    others = [Note(code=note.code, text=f"{_name(row)}: {note.text}") for note in found.notes if note not in few]
    return _Mean(
        row=row | {"estimate": found.estimate, "low": found.low, "high": found.high},
        few=patients if few else 0,
        notes=tuple(others),
    )


def _method(level: float) -> Method:
    return Method(
        estimand="geometric mean yield of a necrosectomy with one class of instrument, when there was some",
        estimator="log-normal maximum likelihood; ranges, less than and more than enter as intervals",
        interval="patient-clustered sandwich error, t with the number of patients less one",
        level=level,
        definition=f"{SESSIONS.row} for necrosectomy; lavage and peroxide are adjuncts and do not count as a class; "
        "sessions with no yield at all are counted beside the mean; units are never pooled",
    )


def _notes(credited: _Credited, means: list[_Mean]) -> tuple[Note, ...]:
    nothing = sum(mean.row["events"] for mean in means)
    silent = sum(mean.row["missing"] for mean in means)
    ranged = int((credited.sessions["yield_low"] != credited.sessions["yield_high"]).sum())
    small = [_name(mean.row) for mean in means if mean.small]
    few = [f"{_name(mean.row)} {mean.few}" for mean in means if mean.few]
    said = {
        "SHARED_SESSIONS": credited.shared
        and f"{credited.shared:,} of {credited.necrosectomies:,} necrosectomies "
        f"({100 * credited.shared / credited.necrosectomies:.0f} %) used more than one class of instrument and are "
        "left out here.",
        "ZERO_YIELD": nothing
        and f"{counted(nothing, 'session', 'sessions')} with no yield at all: counted beside the means, not in them.",
        "INTERVAL_CENSORED": ranged
        and f"{ranged:,} of {len(credited.sessions):,} yields were written as a range, or as less or more than a "
        "number, and are used as such.",
        "MISSING": silent
        and f'{counted(silent, "yield says", "yields say")} nothing but "more than 0": counted as missing.',
        "SMALL_N": small
        and f"Fewer than {SMALL_CELL_SESSIONS} sessions with a yield, or {SMALL_CELL_PATIENTS} patients, so counted "
        f"and not estimated: {', '.join(small)}.",
        "FEW_CLUSTERS": few
        and f"Fewer than {FEW} patients, so limits that allow for several sessions of one patient are approximate: "
        f"{', '.join(few)}.",
    }
    from_means = [note for mean in means for note in mean.notes]
    return (*(Note(code=code, text=text) for code, text in said.items() if text), *from_means)


def _name(row: dict) -> str:
    return f"{COMPARED_CLASSES[row['group']].replace('_', ' ')} ({row['variable']})"
