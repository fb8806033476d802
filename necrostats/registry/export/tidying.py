"""An export written out as tidy csv files, with the ledger, what was set aside and every finding beside them.

What can only be asked of all patients together is gathered while an export is read a stretch at a time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.errors import NecrostatsError, SourceError
from necrostats.progress import Step
from necrostats.registry.checking_values import YIELDED, mixed_units_flag, signs_of_patients, twin_flag, units_of_yields
from necrostats.registry.codebook import TABLES
from necrostats.registry.drafts import Draft, Flag, applied
from necrostats.registry.export.batches import Stretch, everything, stretches_of
from necrostats.registry.export.conservation import Counts, counts_of
from necrostats.registry.export.entry import entry_layout_of
from necrostats.registry.export.layout import Layout
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
from necrostats.registry.export.tidy_again import tidied_again
from necrostats.registry.export.writing import Outputs, refuse_others
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
    ready = prepared(source, layout, accepted=accepted, say=say)
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
    return Tidied(findings=read.findings, set_aside=read.set_aside, source=read.source, files=files, counts=counts)


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
        self.aside.append(read.registry.set_aside)
        self.made.update({name: len(made) for name, made in read.reshaped.making.tables.items()})
        self.read.update(read.registry.source.rows_read)
        self.kept.update(read.registry.source.rows_kept)
        self.key = read.reshaped.key
        if len(self.parts) > 1:
            self.across.add(read)
