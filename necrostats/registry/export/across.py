"""What can only be asked of all patients together, gathered while an export is read a stretch at a time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np
import pandas as pd

from necrostats.registry.checking_patients import signs_of_patients, twin_flag
from necrostats.registry.checking_values import YIELDED, mixed_units_flag, units_of_yields
from necrostats.registry.drafts import Draft, Flag, applied
from necrostats.registry.export.loading import ReadExport


class AcrossStretches:
    """Signs of patients entered twice, and the units of yields, of every stretch so far."""

    def __init__(self) -> None:
        self._signs: list[pd.Series] = []
        self._twins: list[pd.DataFrame] = []
        self._units: dict[str, Counter[str]] = {name: Counter() for name in YIELDED}
        self._mixed: dict[str, pd.DataFrame] = {}

    def add(self, read: ReadExport) -> None:
        """Another stretch."""
        signs = signs_of_patients(read.draft)
        self._signs.append(signs.reset_index(drop=True))
        self._twins += _told(read, twin_flag(signs.index.to_numpy()))
        for name in YIELDED:
            self._units[name] += units_of_yields(read.draft[name])
            flag = mixed_units_flag(name, self._units[name], np.ones(1, dtype=bool))
            for found in _told(read, flag):
                self._mixed[name] = found

    def findings(self) -> Iterator[pd.DataFrame]:
        """What the rules about all patients have to say."""
        if self._twins:
            twin = pd.concat(self._signs, ignore_index=True).duplicated(keep=False).to_numpy()
            yield pd.concat(self._twins, ignore_index=True)[twin]
        yield from self._mixed.values()


def _told(read: ReadExport, flag: Flag) -> list[pd.DataFrame]:
    """The finding of a flag in the places of the export."""
    found = applied(Draft(tables=read.draft.tables), [flag]).findings
    return [read.places.findings(each, flag.table) for each in found]
