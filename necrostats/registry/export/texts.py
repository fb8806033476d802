"""A column of texts in which each different text is kept once: what the tables made from an export are made of."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.registry.source_table import objects


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Texts:
    """N texts: `different` (U,) holds each once, the blank one first; `which` (N,) says which of them a row holds."""

    different: np.ndarray
    which: np.ndarray

    @classmethod
    def of(cls, texts: Sequence[str] | np.ndarray) -> Texts:
        """N texts as they are given."""
        return cls.chosen(texts, np.arange(len(texts)))

    @classmethod
    def chosen(cls, listed: Sequence[str] | np.ndarray, which: np.ndarray) -> Texts:
        """For each row the text in `listed` that `which` (N,) points to; the same text may be listed twice."""
        number, different = pd.factorize(objects(["", *listed]))
        return cls(different=np.asarray(different, dtype=object), which=number[1:].astype(np.int32)[which])

    @classmethod
    def everywhere(cls, text: str, rows: int) -> Texts:
        """The same text in every row."""
        return cls.chosen([text], np.zeros(rows, dtype=np.int64))

    @classmethod
    def joined(cls, parts: Sequence[Texts]) -> Texts:
        """Several columns, one below the other."""
        whole = parts[0]
        for part in parts[1:]:
            different, numbers = whole._with(part)
            whole = cls(different=different, which=np.concatenate([whole.which, numbers[part.which]]))
        return whole

    def __len__(self) -> int:
        return len(self.which)

    def plain(self) -> np.ndarray:
        """The texts (N,), one a row."""
        return self.different[self.which]

    @property
    def filled(self) -> np.ndarray:
        """Where (N,) there is a text."""
        return self.which != 0

    def among(self, texts: Collection[str]) -> np.ndarray:
        """Where (N,) the text is one of some."""
        wanted = set(texts)
        return np.array([each in wanted for each in self.different], dtype=bool)[self.which]

    def take(self, rows: np.ndarray) -> Texts:
        """The texts of some rows."""
        return Texts(different=self.different, which=self.which[rows])

    def or_blank(self, rows: np.ndarray) -> Texts:
        """The texts of some rows, blank where a row is -1."""
        return Texts(different=self.different, which=np.append(self.which, np.int32(0))[rows])

    def put(self, rows: np.ndarray, others: Texts) -> Texts:
        """The column with the texts of some rows replaced, one for each of them."""
        different, numbers = self._with(others)
        which = self.which.copy()
        which[rows] = numbers[others.which]
        return Texts(different=different, which=which)

    def differs(self, others: Texts) -> np.ndarray:
        """Where (N,) two columns hold two texts that are not the same; a blank differs from nothing."""
        both = np.flatnonzero(self.filled & others.filled)
        found = np.zeros(len(self), dtype=bool)
        if len(both):
            numbers = self._with(others)[1]
            found[both] = self.which[both] != numbers[others.which[both]]
        return found

    def _with(self, others: Texts) -> tuple[np.ndarray, np.ndarray]:
        """The different texts of both, those of this one first, and the number among them of each of the others'."""
        if others.different is self.different:
            return self.different, np.arange(len(self.different), dtype=np.int32)
        number, different = pd.factorize(np.concatenate([self.different, others.different]))
        return np.asarray(different, dtype=object), number[len(self.different) :].astype(np.int32)
