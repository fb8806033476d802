"""Yields written as words alone: are larger words written more often after one class of instrument than another?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from necrostats.measures.yield_contrasts import FEWEST_PATIENTS, FEWEST_SESSIONS, Setting
from necrostats.measures.yield_models import Difference
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.results import Note
from necrostats.stats.ordinal import proportional_odds

MEASURE = "odds ratio of a larger amount in words"


@dataclass(frozen=True, kw_only=True)
class WordContrast:
    """One class against the reference among sessions with one class and a yield in words only."""

    place: int
    reference: int
    primary: bool
    found: Difference
    sessions: tuple[int, int]
    patients: tuple[int, int]
    notes: tuple[Note, ...] = ()


def word_contrasts(asked: Setting) -> Iterator[WordContrast]:
    """Each class with enough such sessions against the reference; where that has too few, against the commonest.

    A word is ordered (none, trace, small, moderate, large) and never made into a number. Whatever the rule for shared
    sessions, only those with one class count: a word cannot be divided.
    """
    found = asked.found
    alone = found.used[:, : len(COMPARED_CLASSES)] & (found.classes == 1)[:, None]
    worded = (~found.numbered & (found.word >= 0))[:, None] & alone
    places = [place for place in range(len(COMPARED_CLASSES)) if _enough(worded[:, place], found.patient)]
    if len(places) < 2:
        return
    usual = max(places, key=lambda place: worded[:, place].sum())
    reference = asked.reference if asked.reference in places else usual
    others = [place for place in places if place != reference]
    primary = asked.primary if asked.primary in others else others[0] if asked.primary is None else None
    for place in others:
        yield _contrast(asked, worded, place, reference, place == primary)


def _enough(here: np.ndarray, patient: np.ndarray) -> bool:
    return bool(here.sum() >= FEWEST_SESSIONS and np.unique(patient[here]).size >= FEWEST_PATIENTS)


def _contrast(asked: Setting, worded: np.ndarray, place: int, reference: int, primary: bool) -> WordContrast:
    rows = worded[:, place] | worded[:, reference]
    one, patient = worded[rows, place], asked.found.patient[rows]
    fit = proportional_odds(asked.found.word[rows], one[:, None].astype(float), patient, level=asked.level)
    found = fit.contrast([1.0])
    return WordContrast(
        place=place,
        reference=reference,
        primary=primary,
        found=Difference(**{name: getattr(found, name) for name in Difference.__dataclass_fields__}),
        sessions=(int(one.sum()), int((~one).sum())),
        patients=(np.unique(patient[one]).size, np.unique(patient[~one]).size),
        notes=tuple(note for note in fit.notes if note.code == "SEPARATION"),
    )
