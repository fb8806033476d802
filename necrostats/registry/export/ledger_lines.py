"""Lines of the ledger before each has its place: columns of what is told, one for all lines or one a line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from necrostats.registry.export.telling import VALUE

NO_COLUMN = -1


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Lines:
    """n lines before they are placed: the column of the export (or NO_COLUMN) and the position of each one's cell, and
    what is told of it: arrays (n,), or one for all."""

    number: np.ndarray
    at: np.ndarray
    outcome: np.ndarray | str = VALUE
    table: np.ndarray | str = ""
    id: np.ndarray | str = ""
    field: np.ndarray | str = ""
    value: np.ndarray | str = ""
    rule: np.ndarray | str = ""
    written: np.ndarray | str = ""
    heading: np.ndarray | str = ""
    letters: np.ndarray | int = 0

    def __len__(self) -> int:
        return len(self.at)

    def column(self, name: str) -> np.ndarray:
        """One a line."""
        told = getattr(self, name)
        return told if isinstance(told, np.ndarray) else constant(told, len(self))

    @classmethod
    def joined(cls, parts: Sequence[Lines]) -> Lines:
        """Several, one below the other."""
        held = [part for part in parts if len(part)] or [_no_lines()]
        return cls(**{each.name: np.concatenate([part.column(each.name) for part in held]) for each in fields(cls)})

    def only(self, rows: np.ndarray) -> Lines:
        """Some of the lines."""
        return replace(self, **{each.name: self.column(each.name)[rows] for each in fields(self)})


def _no_lines() -> Lines:
    return Lines(number=np.empty(0, dtype=np.int64), at=np.empty(0, dtype=np.int64))


def constant(told: str | int, rows: int) -> np.ndarray:
    """The same for so many lines, taking no room."""
    return np.broadcast_to(np.array(told, dtype=object if isinstance(told, str) else np.int64), rows)


def each_once(parts: Sequence[Lines]) -> Lines:
    """The lines without those that tell the same field of the same cell again."""
    lines = Lines.joined(parts)
    cells = pd.DataFrame({name: getattr(lines, name) for name in ("number", "at", "field")})
    return lines.only(~cells.duplicated().to_numpy())
