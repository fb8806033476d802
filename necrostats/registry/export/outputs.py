"""The files that tidying writes, a stretch of patients at a time; none of them is there before all of it is whole."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType

import pandas as pd

from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.columns import LATEST
from necrostats.registry.export.ledger import COLUMNS as LEDGER_COLUMNS
from necrostats.registry.export.ledger import ledger_parts
from necrostats.registry.export.loading import ReadExport
from necrostats.registry.export.writing import CsvFile
from necrostats.registry.kept_aside import FINDINGS, LEDGER, SET_ASIDE

_PROGRESS = 1_000_000


class Outputs:
    """The tables, the ledger and the lists beside them in a folder; left without `finish`, nothing of them is there."""

    def __init__(self, folder: Path, say: Callable[[str], None]) -> None:
        self._folder, self._say = folder, say
        self._made_here = not folder.exists()
        folder.mkdir(parents=True, exist_ok=True)
        self._files: dict[str, CsvFile] = {}
        self._told = 0

    def __enter__(self) -> Outputs:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: object, trace: TracebackType | None) -> None:
        for file in self._files.values():
            file.drop()
        if self._made_here and kind and not any(self._folder.iterdir()):
            self._folder.rmdir()

    def add(self, read: ReadExport) -> None:
        """The tables and the ledger of a stretch."""
        for name, table in TABLES.items():
            if read.draft[name].given:
                self._add_table(table, read.registry.tables[name])
        for sheet in read.material.laid.sheets:
            self._add_ledger(sheet.number, ledger_parts(read, sheet))

    def _file(self, name: str, heading: Iterable[str]) -> CsvFile:
        if name not in self._files:
            self._files[name] = CsvFile(self._folder / name, heading)
        return self._files[name]

    def _add_table(self, table: Table, frame: pd.DataFrame) -> None:
        used = _as_used(frame, table)
        file = self._file(f"{table.name}.csv", used)
        if set(used) - set(file.heading):
            file.widen([each.name for each in table.all_columns if each.name in {*used, *file.heading}])
        file.add_frame(frame)

    def _add_ledger(self, sheet: int, parts: Iterable[pd.DataFrame]) -> None:
        file = self._file(_ledger_of(sheet), LEDGER_COLUMNS)
        for part in parts:
            file.add_frame(part)
            self._told += len(part)
            if self._told >= _PROGRESS:
                self._say(f"writing {LEDGER}: {self._told:,} lines")

    def finish(self, findings: pd.DataFrame, set_aside: pd.DataFrame, key: Mapping[str, str]) -> tuple[Path, ...]:
        """Everything moved into place, with the key of private periods beside the folder; the files written."""
        self._file(FINDINGS, findings.columns).add_frame(findings)
        self._file(SET_ASIDE, set_aside.columns).add_frame(set_aside)
        sheet = 1
        while other := self._files.pop(_ledger_of(sheet), None):
            self._files[LEDGER].append(other)
            sheet += 1
        files = [file.finish() for file in self._files.values()]
        self._files = {}
        _remove_old(self._folder, files)
        return (*files, *self._key(key))

    def _key(self, key: Mapping[str, str]) -> Iterable[Path]:
        if key:
            folder = self._folder.resolve()
            file = CsvFile(folder.parent / f"{folder.name}-private-period-key.csv", ("quarter", "period"))
            file.add_frame(pd.DataFrame(key.items(), columns=["quarter", "period"]))
            yield file.finish()


def _ledger_of(sheet: int) -> str:
    """The ledger of the first sheet is where those of the others will be appended."""
    return f"sheet-{sheet}-of-{LEDGER}" if sheet else LEDGER


def _as_used(frame: pd.DataFrame, table: Table) -> list[str]:
    """The columns of a tidy table, with the partner of a day only where it is used."""
    return [
        column.name for column in table.all_columns
        if not column.name.endswith(LATEST) or frame[column.name].notna().any()
    ]  # fmt: skip


def _remove_old(folder: Path, files: Sequence[Path]) -> None:
    """A table that an earlier run left and this one does not have would be read as part of this registry."""
    for name in TABLES:
        path = folder / f"{name}.csv"
        if path not in files and path.exists():
            path.unlink()
