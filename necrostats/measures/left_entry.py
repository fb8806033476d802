"""Referred patients: under this unit's eyes only from some day after their index drainage."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from necrostats.errors import unknown_choice
from necrostats.measures.phrases import counted
from necrostats.registry.tables import Registry
from necrostats.results import Note


def entry_days(registry: Registry, seen_from: Mapping[str, int] | None) -> np.ndarray:
    """The day from which each patient was seen here (P,), 0 for those not named; ChoiceError for an unknown id."""
    days = np.zeros(len(registry.patients), dtype=np.int64)
    place = {str(name): row for row, name in enumerate(registry.patients["patient_id"])}
    for name, day in (seen_from or {}).items():
        if str(name).strip().upper() not in place:
            raise unknown_choice("patient", name, place)
        days[place[str(name).strip().upper()]] = max(int(day), 0)
    return days


def entry_notes(entry: np.ndarray) -> tuple[Note, ...]:
    """That referred patients count only from the day they were seen."""
    late = int(np.count_nonzero(entry > 0))
    if not late:
        return ()
    text = (
        f"{counted(late, 'patient was', 'patients were')} first seen here after the index drainage and counted from "
        "that day: whoever resolved or died before a referral could not be among them."
    )
    return (Note(code="LEFT_TRUNCATION", text=text),)
