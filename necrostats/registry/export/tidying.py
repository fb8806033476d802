"""An export written out as tidy csv files, with the ledger, what was set aside and every finding beside them.

What can only be asked of all patients together, gathered while an export is read a stretch at a time.

Columns written as csv files, a whole column at a time.

The files that tidying writes, a stretch of patients at a time; none of them is there before all of it is whole.
"""

from __future__ import annotations

import csv
import re
import shutil
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

import numpy as np
import pandas as pd

from necrostats.errors import NecrostatsError, SourceError
from necrostats.progress import Step
from necrostats.registry.checking_values import YIELDED, mixed_units_flag, signs_of_patients, twin_flag, units_of_yields
from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.columns import LATEST
from necrostats.registry.defusing import MAY_START_A_FORMULA, defused
from necrostats.registry.drafts import Draft, Flag, applied
from necrostats.registry.earlier_set_aside import FINDINGS, LEDGER, SET_ASIDE
from necrostats.registry.export.batches import Stretch, everything, stretches_of
from necrostats.registry.export.conservation import Counts, counts_of
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.ledger import COLUMNS as LEDGER_COLUMNS
from necrostats.registry.export.ledger import ledger_parts
from necrostats.registry.export.loading import (
    CHECKING,
    WRITING,
    Prepared,
    ReadExport,
    all_findings,
    all_set_aside,
    prepared,
    read_stretch,
    refuse_unusable,
    stage,
)
from necrostats.registry.export.reading import quietly
from necrostats.registry.findings_workbook import FINDINGS_WORKBOOK, findings_workbook
from necrostats.registry.tables import Source


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
        files.append(_workbook(self._folder, findings))
        self._files = {}
        _remove_old(self._folder, files)
        return (*files, *self._key(key))

    def _key(self, key: Mapping[str, str]) -> Iterable[Path]:
        if key:
            folder = self._folder.resolve()
            file = CsvFile(folder.parent / f"{folder.name}-private-period-key.csv", ("quarter", "period"))
            file.add_frame(pd.DataFrame(key.items(), columns=["quarter", "period"]))
            yield file.finish()


def _workbook(folder: Path, findings: pd.DataFrame) -> Path:
    """The findings once more, to filter in a spreadsheet; moved into place whole."""
    path = folder / FINDINGS_WORKBOOK
    beside = path.with_name(f".{path.name}.part")
    beside.write_bytes(findings_workbook(findings))
    beside.replace(path)
    return path


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


ROWS_AT_ONCE = 50_000


@dataclass(frozen=True, kw_only=True, eq=False)
class Tidied:
    """What was written: the files, what was found and set aside, how many rows there were, what became of each cell."""

    findings: pd.DataFrame
    set_aside: pd.DataFrame
    source: Source
    files: tuple[Path, ...]
    counts: Counts


def tidy(
    source: str | Path,
    layout: str | Path | Layout,
    to: str | Path,
    *,
    accepted: Collection[str] = (),
    say: Callable[[str], None] = quietly,
    rows_at_once: int = ROWS_AT_ONCE,
) -> Tidied:
    """Write the nine tables, ledger.csv, set_aside.csv and findings.csv into a folder; the same input, the same bytes.

    None of them holds a calendar date. With private periods their key is written beside the folder, not in it.
    Where the rows of each patient stand together in every sheet, tables of about `rows_at_once` rows of the export are
    in memory at a time; otherwise, and with private periods, all of them. Raises as `read_with_layout` does; nothing is
    written then.
    """
    folder = Path(to)
    _refuse_folder(folder, Path(source))
    ready = prepared(source, layout, accepted=accepted, say=say)
    try:
        with Outputs(folder, say) as outputs:
            return _Tidying(ready, outputs, _parts(ready, rows_at_once), say).done()
    except OSError as error:
        raise SourceError(f"{folder} cannot be written: {(error.strerror or 'unknown reason').lower()}.") from error


def _refuse_folder(folder: Path, source: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise NecrostatsError(f"{folder} is a file. Give a folder to write to.")
    if source.is_dir() and folder.resolve() == source.resolve():
        raise NecrostatsError("The tidy files cannot go into the folder of the export. Give another folder.")


def _parts(ready: Prepared, rows_at_once: int) -> Sequence[Stretch]:
    sheets, people = ready.material.laid.sheets, ready.material.people
    return (everything(sheets),) if ready.layout.sequential else stretches_of(sheets, people, rows_at_once)


class _Tidying:
    """Reads and writes an export part by part, and gathers what is to be said of it in the end."""

    def __init__(self, ready: Prepared, outputs: Outputs, parts: Sequence[Stretch], say: Callable[[str], None]) -> None:
        self.ready, self.outputs, self.parts, self.say = ready, outputs, parts, say
        self.about: Sequence[pd.DataFrame] = ()
        self.unusable = False
        self.told: list[pd.DataFrame] = []
        self.aside: list[pd.DataFrame] = []
        self.made, self.read, self.kept = Counter(), Counter(), Counter()
        self.key: dict[str, str] = {}
        self.across = AcrossStretches()

    def done(self) -> Tidied:
        """Everything read and written. RegistryError if no registry can be made of it."""
        for number, stretch in enumerate(self.parts, start=1):
            self._add(stretch, number)
        further = self.across.findings() if len(self.parts) > 1 else ()
        findings = all_findings(self.ready, self.about, [*self.told, *further])
        refuse_unusable(self.ready, findings, unusable=self.unusable, patients=self.kept["patients"])
        aside = all_set_aside(self.ready, self.aside)
        source = Source(
            name=self.ready.name,
            sha256=self.ready.sha256,
            rows_read={name: self.read[name] for name in TABLES},
            rows_kept={name: self.kept[name] for name in TABLES},
        )
        files = self.outputs.finish(findings, aside, self.key)
        return Tidied(
            findings=findings, set_aside=aside, source=source, files=files, counts=counts_of(self.ready.material)
        )

    def _add(self, stretch: Stretch, number: int) -> None:
        several = len(self.parts) > 1
        self.say(self._part(number - 1) if several else stage(CHECKING))
        read = read_stretch(self.ready, stretch, self.made, whole=not several)
        if not several:
            self.say(stage(WRITING))
        self.outputs.add(read)
        if several:
            self.say(self._part(number))
        self._gather(read)

    def _part(self, done: int) -> Step:
        return Step(f"{CHECKING} and {WRITING}", done=done, of=len(self.parts), units="parts")

    def _gather(self, read: ReadExport) -> None:
        self.about = self.about or read.about_source
        self.unusable = self.unusable or read.unusable
        self.told.append(read.registry.findings)
        self.aside.append(read.registry.set_aside)
        self.made.update({name: len(made) for name, made in read.reshaped.making.tables.items()})
        self.read.update(read.registry.source.rows_read)
        self.kept.update(read.registry.source.rows_kept)
        self.key = read.reshaped.key
        if len(self.parts) > 1:
            self.across.add(read)
