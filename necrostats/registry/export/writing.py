"""Columns written as csv files, a whole column at a time."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.registry.defusing import MAY_START_A_FORMULA, defused

_AT_ONCE = 100_000
_QUOTED = re.compile(r'[,"\r\n]')
_NOT_PLAIN = {*',"', *MAY_START_A_FORMULA} - {"\n"}


class CsvFile:
    """A csv file that is safe to open in a spreadsheet, written beside its name and moved there when it is whole."""

    def __init__(self, path: Path, heading: Iterable[str]) -> None:
        self.path, self.heading = path, tuple(heading)
        self._unfinished = path.with_name(f".{path.name}.unfinished")
        self._file = self._unfinished.open("w", encoding="utf-8", newline="")
        self._file.write(_line(self.heading))

    def add(self, columns: Sequence[np.ndarray]) -> None:
        """More lines, as columns (n,) of text."""
        self._file.writelines(map("%s\n".__mod__, map(",".join, zip(*map(_cells, columns), strict=True))))

    def add_frame(self, frame: pd.DataFrame) -> None:
        """More lines, the columns of the heading from a frame."""
        for first in range(0, len(frame), _AT_ONCE):
            block = frame.iloc[first : first + _AT_ONCE]
            self.add([texts_of(block[name]) for name in self.heading])

    def widen(self, heading: Sequence[str]) -> None:
        """Further columns, blank so far: what there is is written again under a heading that leaves none out."""
        place = [self.heading.index(name) if name in self.heading else -1 for name in heading]
        narrow = self._unfinished.with_suffix(".narrow")
        self._file.close()
        self._unfinished.replace(narrow)
        self.heading = tuple(heading)
        self._file = self._unfinished.open("w", encoding="utf-8", newline="")
        with narrow.open(encoding="utf-8", newline="") as file:
            lines = csv.reader(file)
            next(lines)
            self._file.write(_line(heading))
            self._file.writelines(_line((*line, "")[each] for each in place) for line in lines)
        narrow.unlink()

    def append(self, other: CsvFile) -> None:
        """The lines of another file with the same heading, which is gone then."""
        other._file.close()
        with other._unfinished.open(encoding="utf-8", newline="") as lines:
            lines.readline()
            shutil.copyfileobj(lines, self._file)
        other._unfinished.unlink()

    def finish(self) -> Path:
        """The path, at which the file now lies."""
        self._file.close()
        return self._unfinished.replace(self.path)

    def drop(self) -> None:
        """Leave nothing behind of a file that was not finished."""
        self._file.close()
        self._unfinished.unlink(missing_ok=True)


def _line(cells: Iterable[str]) -> str:
    return ",".join(map(_quoted, cells)) + "\n"


def texts_of(values: pd.Series) -> np.ndarray:
    """A column as text: blank for unknown, yes and no, numbers without a needless .0."""
    known = values.notna().to_numpy(dtype=bool)
    texts = np.full(len(values), "", dtype=object)
    held = values[known]
    if pd.api.types.is_bool_dtype(held.dtype):
        texts[known] = np.where(held.to_numpy(dtype=bool), "yes", "no")
    elif pd.api.types.is_integer_dtype(held.dtype):
        texts[known] = list(map(str, held.to_numpy(dtype=np.int64).tolist()))
    elif pd.api.types.is_float_dtype(held.dtype):
        texts[known] = [repr(value).removesuffix(".0") for value in held.to_numpy(dtype=np.float64).tolist()]
    else:
        texts[known] = held.to_numpy(dtype=object)
    return texts


def _cells(texts: np.ndarray) -> np.ndarray:
    """Texts (n,) as the cells of a csv file: defused, and in quotation marks where they must be."""
    joined = "\n".join(texts)
    if joined.count("\n") < len(texts) and not any(sign in joined for sign in _NOT_PLAIN):
        return texts
    cells = {text: _quoted(defused(text)) for text in set(texts)}
    return np.array([cells[text] for text in texts], dtype=object)


def _quoted(text: str) -> str:
    return f"\"{text.replace(chr(34), chr(34) * 2)}\"" if _QUOTED.search(text) else text
