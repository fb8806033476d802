"""An export written out as tidy csv files, with the ledger, what was set aside and every finding beside them.

What can only be asked of all patients together is gathered while an export is read a stretch at a time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.errors import NecrostatsError, SourceError
from necrostats.progress import Step
from necrostats.registry.checking_values import YIELDED, mixed_units_flag, signs_of_patients, twin_flag, units_of_yields
from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.drafts import Draft, DraftTable, Flag, applied, heading, is_numeric
from necrostats.registry.emptied import about_emptied, emptied
from necrostats.registry.entry_workbook import entry_layout_of
from necrostats.registry.export.about import Counts, counts_of
from necrostats.registry.export.cells import letters_of
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.layout_drafting import draft_layout
from necrostats.registry.export.layout_guide import layout_guide
from necrostats.registry.export.ledger import COLUMNS, SET_ASIDE, UNKNOWN, VALUE, ledger_parts
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
from necrostats.registry.export.private import WITHHELD
from necrostats.registry.export.reshaping import Stretch, everything, stretches_of
from necrostats.registry.export.writing import Outputs, refuse_others
from necrostats.registry.loading import ReadTidy, read_tidy
from necrostats.registry.messages import check_report, stops
from necrostats.registry.reading import quietly
from necrostats.registry.source_table import RawTable
from necrostats.registry.tables import Registry, Source


def tidied_again(source: str | Path, accepted: Collection[str] = ()) -> tuple[Registry, Counts, list[pd.DataFrame]]:
    """A tidy source read, its cells and rows counted by what became of them, and the ledger in parts, one a table."""
    read = read_tidy(source, accepted)
    ledger = [part for name in read.raw.tables for part in _ledger(read, name)]
    return read.registry, _counts(read, ledger), ledger


def _ledger(read: ReadTidy, name: str) -> Iterator[pd.DataFrame]:
    """The cells of a table with anything in them, in the order of its columns."""
    raw, table = read.raw.tables[name], read.draft[name]
    aside = _aside(read.draft, name)
    for number, head in enumerate(raw.columns, start=1):
        column = next((each for each in TABLES[name].all_columns if heading(raw, each.name) == head), None)
        filled = np.array([bool(text.strip()) for text in raw.columns[head].texts])[raw.columns[head].which]
        if column is not None and filled.any():
            yield _lines(read, table, column, np.flatnonzero(filled), aside, number)


def _aside(draft: Draft, name: str) -> dict[str, np.ndarray]:
    """The rows at which cells of each column were set aside."""
    cells = [each for each in draft.taken if each.table == name and each.scope == "cell"]
    return {
        column: np.concatenate([each.at for each in cells if each.column == column])
        for column in {each.column for each in cells}
    }


def _lines(
    read: ReadTidy, table: DraftTable, column: Column, at: np.ndarray, aside: dict[str, np.ndarray], number: int
) -> pd.DataFrame:
    raw, name = table.raw, table.table.name
    lost = table.gone[at] | np.isin(at, aside.get(column.name, np.empty(0, np.int64)))
    known = table.known(column.name)[at]
    lines = {
        "file": raw.place.file,
        "sheet": raw.place.sheet,
        "row": raw.rows[at],
        "cell": [f"{letters_of(number)}{row}" for row in raw.rows[at].tolist()],
        "column": heading(raw, column.name),
        "written": _as_text(read, raw, column, at),
        "outcome": np.where(lost, SET_ASIDE, np.where(known, VALUE, UNKNOWN)),
        "table": name,
        "id": _ids(read, table)[at],
        "field": column.name,
        "value": np.where(lost, "", _values(table, column)[at]),
        "rule": "",
    }
    return pd.DataFrame(lines)[list(COLUMNS)]


def _as_text(read: ReadTidy, raw: RawTable, column: Column, at: np.ndarray) -> np.ndarray:
    """The cells as written; those that a finding withholds, and ages that are not kept, are not shown."""
    texts = raw.columns[heading(raw, column.name)].at(at)
    findings = read.registry.findings
    hidden = (findings["table"] == raw.place.table) & (findings["column"] == column.name)
    hidden &= findings["problem"].str.contains("withheld") | (findings["rule"] == "AGE_90")
    return np.where(np.isin(raw.rows[at], findings.loc[hidden, "row"].dropna().to_numpy()), WITHHELD, texts)


def _ids(read: ReadTidy, table: DraftTable) -> np.ndarray:
    names = [column.name for column in table.table.columns if column.kind == "id"]
    return np.where(pd.isna(values := table.texts(table.table.key or names[0])), "", values)


def _values(table: DraftTable, column: Column) -> np.ndarray:
    cells = table.cells[column.name]
    if column.kind == "yes_no":
        texts = np.array(["" if value != value else "yes" if value else "no" for value in cells.values], dtype=object)
    elif is_numeric(column.kind):
        texts = np.array(["" if value != value else f"{value:.15g}" for value in cells.values], dtype=object)
    else:
        texts = np.array(["" if value is None else value for value in cells.values], dtype=object)
    return texts[cells.which]


def _counts(read: ReadTidy, ledger: list[pd.DataFrame]) -> Counts:
    outcomes = pd.concat([part["outcome"] for part in ledger]).value_counts() if ledger else pd.Series(dtype=int)
    cells = sum(
        int(np.count_nonzero(np.array([bool(text.strip()) for text in column.texts])[column.which]))
        for raw in read.raw.tables.values()
        for column in raw.columns.values()
    )
    gone = sum(int(read.draft[name].gone.sum()) for name in read.raw.tables)
    rows = sum(map(len, read.raw.tables.values()))
    return Counts(
        cells=cells,
        interpreted=int(outcomes.get(VALUE, 0)),
        unknown=int(outcomes.get(UNKNOWN, 0)),
        cells_set_aside=int(outcomes.get(SET_ASIDE, 0)),
        ignored=0,
        not_mentioned=cells - int(outcomes.sum()),
        rows=rows,
        rows_made=rows - gone,
        rows_set_aside=gone,
    )


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


ROWS_AT_ONCE = 50_000


@dataclass(frozen=True, kw_only=True, eq=False)
class Tidied:
    """What was written: the files, what was found and set aside, how many rows there were, what became of each cell.

    `on_screen` are the findings with their dates, which no file holds.
    """

    findings: pd.DataFrame
    on_screen: pd.DataFrame
    set_aside: pd.DataFrame
    source: Source
    files: tuple[Path, ...]
    counts: Counts


def tidy(
    source: str | Path,
    layout: str | Path | Layout | None,
    to: str | Path,
    *,
    accepted: Collection[str] = (),
    say: Callable[[str], None] = quietly,
    rows_at_once: int = ROWS_AT_ONCE,
) -> Tidied:
    """Write the nine tables, ledger.csv, set_aside.csv and findings.csv into a folder; the same input, the same bytes.

    Without a layout the source is tidy in form, however it was typed, and its tables are written clean.

    None of them holds a calendar date. With private periods their key is written beside the folder, not in it.
    Where the rows of each patient stand together in every sheet, tables of about `rows_at_once` rows of the export are
    in memory at a time; otherwise, and with private periods, all of them. Raises as `read_with_layout` does; nothing is
    written then.
    """
    folder = Path(to)
    _refuse_folder(folder, Path(source))
    layout = layout or entry_layout_of(source)
    if not layout:
        return _again(source, folder, accepted, say)
    ready = prepared(source, layout, accepted=accepted, to_file=True, say=say)
    with written_to(folder), Outputs(folder, say) as outputs:
        return _Tidying(ready, outputs, _parts(ready, rows_at_once), say).done()


@contextmanager
def written_to(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise SourceError(f"{folder} cannot be written: {(error.strerror or 'unknown reason').lower()}.") from error


def _again(source: str | Path, folder: Path, accepted: Collection[str], say: Callable[[str], None]) -> Tidied:
    say("reading")
    read, counts, ledger = tidied_again(source, accepted)
    say("writing")
    with written_to(folder), Outputs(folder, say) as outputs:
        for name in read.given:
            outputs.add_table(TABLES[name], read.tables[name])
        outputs.add_ledger(0, ledger)
        files = outputs.finish(read.findings, read.set_aside)
    found = {"findings": read.findings, "on_screen": read.findings, "set_aside": read.set_aside}
    return Tidied(**found, source=read.source, files=files, counts=counts)


def _refuse_folder(folder: Path, source: Path) -> None:
    if source.is_dir() and folder.resolve() == source.resolve():
        raise NecrostatsError("The tidy files cannot go into the folder of the export. Give another folder.")
    refuse_others(folder)


def _parts(ready: Prepared, rows_at_once: int) -> Sequence[Stretch]:
    sheets, people = ready.material.laid.sheets, ready.material.people
    return (everything(sheets),) if ready.layout.sequential else stretches_of(sheets, people, rows_at_once)


def write_stretch(outputs: Outputs, read: ReadExport) -> None:
    """The tables and the ledger of a stretch."""
    for name, table in TABLES.items():
        if read.draft[name].given:
            outputs.add_table(table, read.registry.tables[name])
    for sheet in read.material.laid.sheets:
        outputs.add_ledger(sheet.number, ledger_parts(read, sheet))


class _Tidying:
    """Reads and writes an export part by part, and gathers what is to be said of it in the end."""

    def __init__(self, ready: Prepared, outputs: Outputs, parts: Sequence[Stretch], say: Callable[[str], None]) -> None:
        self.ready, self.outputs, self.parts, self.say = ready, outputs, parts, say
        self.about: Sequence[pd.DataFrame] = ()
        self.unusable = False
        self.told: list[pd.DataFrame] = []
        self.on_screen: list[pd.DataFrame] = []
        self.aside: list[pd.DataFrame] = []
        self.made, self.read, self.kept = Counter(), Counter(), Counter()
        self.key: dict[str, str] = {}
        self.across = AcrossStretches()

    def done(self) -> Tidied:
        """Everything read and written. RegistryError if no registry can be made of it."""
        for number, stretch in enumerate(self.parts, start=1):
            self._add(stretch, number)
        further = list(self.across.findings()) if len(self.parts) > 1 else []
        aside = all_set_aside(self.ready, self.aside)
        lost = emptied(self.outputs.tables, self.kept, aside)
        further += about_emptied(lost, self.ready.name)
        findings, on_screen = (
            all_findings(self.ready, self.about, [*told, *further]) for told in (self.told, self.on_screen)
        )
        refuse_unusable(self.ready, findings, unusable=self.unusable, patients=self.kept["patients"])
        self.outputs.leave_out(lost)
        source = Source(
            name=self.ready.name,
            sha256=self.ready.sha256,
            rows_read={name: self.read[name] for name in TABLES},
            rows_kept={name: self.kept[name] for name in TABLES},
        )
        files = self.outputs.finish(findings, aside, self.key)
        found = {"findings": findings, "on_screen": on_screen, "set_aside": aside}
        return Tidied(**found, source=source, files=files, counts=counts_of(self.ready.material))

    def _add(self, stretch: Stretch, number: int) -> None:
        several = len(self.parts) > 1
        self.say(self._part(number - 1) if several else stage(CHECKING))
        read = read_stretch(self.ready, stretch, self.made, whole=not several)
        if not several:
            self.say(stage(WRITING))
        write_stretch(self.outputs, read)
        if several:
            self.say(self._part(number))
        self._gather(read)

    def _part(self, done: int) -> Step:
        return Step(f"{CHECKING} and {WRITING}", done=done, of=len(self.parts), units="parts")

    def _gather(self, read: ReadExport) -> None:
        self.about = self.about or read.about_source
        self.unusable = self.unusable or read.unusable
        self.told.append(read.registry.findings)
        self.on_screen.append(read.on_screen)
        self.aside.append(read.registry.set_aside)
        self.made.update({name: len(made) for name, made in read.reshaped.making.tables.items()})
        self.read.update(read.registry.source.rows_read)
        self.kept.update(read.registry.source.rows_kept)
        self.key = read.reshaped.key
        if len(self.parts) > 1:
            self.across.add(read)


EXAMPLE = Path(__file__).with_name("example_layout.toml")


def example_layout() -> str:
    """The text of a commented layout to begin with."""
    return EXAMPLE.read_text(encoding="utf-8")


def run_tidy(
    source: str, layout: str, to: str, *, accepted: Collection[str], say: Callable[[str], None], every: bool = False
) -> tuple[str, bool]:
    """Tidies an export; the report to print, and whether a finding stops."""
    made = tidy(source, layout, to, accepted=accepted, say=say)
    report = check_report(replace(made, findings=made.on_screen), Path(source).resolve().name, every=every)
    written = "\n".join(f"  {path}" for path in made.files)
    return f"{status_line(made.counts, made.set_aside)}\n{report}\n\n{made.counts}\n\nwritten\n{written}", stops(made)


def status_line(counts: Counts, set_aside: pd.DataFrame) -> str:
    """What a tired person reads first."""
    rows = set_aside[set_aside["scope"] == "row"]
    return counts.status(len(rows.drop_duplicates(["file", "sheet", "row"])), rows["rule"].nunique())


def run_draft(export: str, accepted: Collection[str] = ()) -> str:
    """The proposed layout to print."""
    return draft_layout(export, accepted=accepted)


def run_guide() -> str:
    """The reference of a layout to print."""
    return layout_guide()
