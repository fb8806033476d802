"""An export written out as tidy csv files, with the ledger, what was set aside and every finding beside them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from necrostats.errors import NecrostatsError, SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.across import AcrossStretches
from necrostats.registry.export.counting import Counts, counts_of
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.loading import (
    Prepared,
    ReadExport,
    all_findings,
    all_set_aside,
    prepared,
    read_stretch,
    refuse_unusable,
)
from necrostats.registry.export.outputs import Outputs
from necrostats.registry.export.reading import quietly
from necrostats.registry.export.stretches import Stretch, everything, stretches_of
from necrostats.registry.tables import Source

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
    source: str | Path, layout: str | Path | Layout, to: str | Path, *, accepted: Collection[str] = (),
    say: Callable[[str], None] = quietly, rows_at_once: int = ROWS_AT_ONCE,
) -> Tidied:  # fmt: skip
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

    def __init__(
        self, ready: Prepared, outputs: Outputs, parts: Sequence[Stretch], say: Callable[[str], None]
    ) -> None:
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
            self._add(stretch, f" part {number} of {len(self.parts)}" if len(self.parts) > 1 else "")
        further = self.across.findings() if len(self.parts) > 1 else ()
        findings = all_findings(self.ready, self.about, [*self.told, *further])
        refuse_unusable(self.ready, findings, unusable=self.unusable, patients=self.kept["patients"])
        aside = all_set_aside(self.ready, self.aside)
        source = Source(
            name=self.ready.name, sha256=self.ready.sha256, rows_read={name: self.read[name] for name in TABLES},
            rows_kept={name: self.kept[name] for name in TABLES},
        )  # fmt: skip
        files = self.outputs.finish(findings, aside, self.key)
        return Tidied(
            findings=findings, set_aside=aside, source=source, files=files, counts=counts_of(self.ready.material)
        )

    def _add(self, stretch: Stretch, part: str) -> None:
        self.say(f"checking{part}")
        read = read_stretch(self.ready, stretch, self.made, whole=len(self.parts) == 1)
        self.say(f"writing{part}")
        self.outputs.add(read)
        self._gather(read)

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
