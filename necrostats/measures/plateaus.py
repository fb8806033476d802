"""Medians that are not one day: a curve that stays at exactly one half for a while."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from necrostats.results import Note
from necrostats.stats.reading_curves import Quantile


def plateau_notes(middle: Quantile, names: Sequence[str]) -> tuple[Note, ...]:
    """The stretches of days of which the middle is given as median, by group (G named), for the first cause."""
    shown, first, last = (
        each if each.ndim == 1 else each[:, 0]
        for each in (middle.estimate, middle.stretch.first, middle.stretch.last)
    )
    level = np.flatnonzero((first < last) & (shown > first))
    if not level.size:
        return ()
    fits = ", ".join(f"any day from {first[place]:g} to {last[place]:g} fits ({names[place]})" for place in level)
    text = f"The curve stays at exactly one half, so the median is not one day: {fits}. The middle is shown."
    return (Note(code="MEDIAN_ON_PLATEAU", text=text),)
