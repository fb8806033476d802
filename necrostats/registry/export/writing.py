"""The files that tidying writes, a stretch of patients at a time; none of them is there before all of it is whole.

Columns are written a whole one at a time.
"""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType, TracebackType

import numpy as np
import pandas as pd

from necrostats.errors import NecrostatsError
from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.columns import LATEST
from necrostats.registry.export.ledger import COLUMNS as LEDGER_COLUMNS
from necrostats.registry.messages import FINDINGS_WORKBOOK, findings_workbook, on_one_line
from necrostats.registry.reading import BESIDE, FINDINGS, LEDGER, SET_ASIDE
from necrostats.registry.text import MAY_START_A_FORMULA, defused

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
    return f'"{text.replace(chr(34), chr(34) * 2)}"' if _QUOTED.search(text) else text


_PROGRESS = 1_000_000
UNFINISHED = ".unfinished"
_OURS = {*(f"{name}.csv" for name in TABLES), *BESIDE}
_BUSY = "{folder} is being written by another run, or one did not end. If none is running, delete {within}."


class Outputs:
    """The tables, the ledger and the lists beside them in a folder; left without `finish`, nothing of them is there.

    They are written to a folder inside it that only one run can make, and moved out when all of them are whole.
    NecrostatsError if the folder holds anything but `ours`, or another run writes to it.
    """

    def __init__(self, folder: Path, say: Callable[[str], None], ours: Collection[str] = _OURS) -> None:
        refuse_others(folder, ours)
        self._folder, self._say, self._within = folder, say, folder / UNFINISHED
        self._made_here = not folder.exists()
        folder.mkdir(parents=True, exist_ok=True)
        try:
            self._within.mkdir()
        except FileExistsError as error:
            raise NecrostatsError(_BUSY.format(folder=folder, within=self._within)) from error
        self._files: dict[str, CsvFile] = {}
        self._told = 0

    def __enter__(self) -> Outputs:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: object, trace: TracebackType | None) -> None:
        for file in self._files.values():
            file.drop()
        shutil.rmtree(self._within, ignore_errors=True)
        if self._made_here and kind and not any(self._folder.iterdir()):
            self._folder.rmdir()

    def _file(self, name: str, heading: Iterable[str]) -> CsvFile:
        if name not in self._files:
            self._files[name] = CsvFile(self._within / name, heading)
        return self._files[name]

    def add_table(self, table: Table, frame: pd.DataFrame) -> None:
        """Rows of a table."""
        used = _as_used(frame, table)
        file = self._file(f"{table.name}.csv", used)
        if set(used) - set(file.heading):
            file.widen([each.name for each in table.all_columns if each.name in {*used, *file.heading}])
        file.add_frame(frame)

    @property
    def tables(self) -> tuple[str, ...]:
        """The tables added so far."""
        return tuple(name for name in TABLES if f"{name}.csv" in self._files)

    def leave_out(self, tables: Iterable[str]) -> None:
        """Drop some tables: nothing of them is written."""
        for name in tables:
            self._files.pop(f"{name}.csv").drop()

    def add_ledger(self, sheet: int, parts: Iterable[pd.DataFrame]) -> None:
        """Lines of the ledger about a sheet, by its number; the sheets follow each other in the end."""
        file = self._file(_ledger_of(sheet), LEDGER_COLUMNS)
        for part in parts:
            file.add_frame(part)
            self._told += len(part)
            if self._told >= _PROGRESS:
                self._say(f"writing {LEDGER}: {self._told:,} lines")

    def finish(
        self, findings: pd.DataFrame, set_aside: pd.DataFrame, key: Mapping[str, str] = MappingProxyType({})
    ) -> tuple[Path, ...]:
        """Everything moved into place, with the key of private periods beside the folder; the files written."""
        self._file(FINDINGS, findings.columns).add_frame(findings)
        self._file(SET_ASIDE, set_aside.columns).add_frame(set_aside)
        sheet = 1
        while other := self._files.pop(_ledger_of(sheet), None):
            self._files[LEDGER].append(other)
            sheet += 1
        files = self.close(lambda written: {FINDINGS_WORKBOOK: findings_workbook(findings)})
        return (*files, *self._key(key))

    def close(self, beside: Callable[[Sequence[Path]], Mapping[str, bytes]]) -> tuple[Path, ...]:
        """What was added moved into place, and after it the files that `beside` makes of what was written."""
        written = [file.finish() for file in self._files.values()]
        self._files = {}
        further = []
        for name, content in beside(written).items():
            further.append(self._within / name)
            further[-1].write_bytes(content)
        files = tuple(path.replace(self._folder / path.name) for path in (*written, *further))
        _remove_old(self._folder, files)
        return files

    def _key(self, key: Mapping[str, str]) -> Iterable[Path]:
        if key:
            folder = self._folder.resolve()
            file = CsvFile(folder.parent / f"{folder.name}-private-period-key.csv", ("quarter", "period"))
            file.add_frame(pd.DataFrame(key.items(), columns=["quarter", "period"]))
            yield file.finish()


def refuse_others(folder: Path, ours: Collection[str] = _OURS) -> None:
    """NecrostatsError if a folder to write to is a file, or holds anything but `ours`: what tidying writes."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise NecrostatsError(f"{folder} is a file. Give a folder to write to.")
    others = sorted(each.name for each in folder.iterdir() if not each.name.startswith(".") and each.name not in ours)
    if others:
        several = f" and {len(others) - 1:,} more" if len(others) > 1 else ""
        raise NecrostatsError(
            f"{folder} holds other things ({on_one_line(others[0])}{several}). Give a new folder: nothing of yours is "
            "then replaced, or read as part of the registry."
        )


def _ledger_of(sheet: int) -> str:
    """The ledger of the first sheet is where those of the others will be appended."""
    return f"sheet-{sheet}-of-{LEDGER}" if sheet else LEDGER


def _as_used(frame: pd.DataFrame, table: Table) -> list[str]:
    """The columns of a tidy table, with the partner of a day only where it is used."""
    return [
        column.name
        for column in table.all_columns
        if not column.name.endswith(LATEST) or frame[column.name].notna().any()
    ]


def _remove_old(folder: Path, files: Sequence[Path]) -> None:
    """A table that an earlier run left and this one does not have would be read as part of this registry."""
    for name in TABLES:
        path = folder / f"{name}.csv"
        if path not in files and path.exists():
            path.unlink()
