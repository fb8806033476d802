"""Damaged copies of the messy workbook and its layout, and what becomes of them.

`python tests/builders/damage.py --copies 2000` prints the counts.

A copy must be read, with every cell and row accounted for, or refused in one NecrostatsError. A copy that the
privacy check refuses is read once more past it, so that the damage reaches the rest of the reader.
"""

from __future__ import annotations

import argparse
import csv
import io
import resource
import signal
import subprocess
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from openpyxl import Workbook, load_workbook

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from builders.damage_cells import CELL_DAMAGE, far_away
from builders.damage_files import BOOK_DAMAGE, CSV_DAMAGE, LAYOUT_DAMAGE
from necrostats.bundled import synthetic_registry
from necrostats.errors import NecrostatsError
from necrostats.registry.export import loading
from necrostats.registry.export.about import counts_of
from necrostats.registry.export.ledger import ledger_of
from necrostats.registry.export.loading import ReadExport
from necrostats.registry.export.private import Screened

SEED = 20261001
LONGEST_SECONDS = 60
MOST_MEMORY = 4 << 30
KINDS = ("cells", "cells", "cells", "layout", "bytes", "csv")
IN_ORDER = ("read", "read past the privacy check", "refused", "traceback", "hang", "lost")


class TooLong(BaseException):
    """A copy that is not done in time; no reader can take it for an error of its own."""


@dataclass(frozen=True, kw_only=True)
class Base:
    """The undamaged files: a workbook, its layout, and each sheet as csv."""

    book: bytes
    layout: bytes
    sheets: dict[str, bytes]


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one copy: a word of IN_ORDER, the damage done, and what there is to say."""

    number: int
    became: str
    damage: tuple[str, ...]
    told: str = ""


def base_in(folder: Path, *, since: str = "2026Q3") -> Base:
    """The messy export of the patients of one or more quarters, written to `folder`."""
    script = synthetic_registry() / "messy_export" / "write.py"
    command = [sys.executable, str(script), "--to", str(folder), "--since", since]
    subprocess.run(command, check=True, cwd=folder, capture_output=True)
    book = (folder / "unit_export.xlsx").read_bytes()
    sheets = {sheet.title: _as_csv(sheet) for sheet in load_workbook(io.BytesIO(book), data_only=True)}
    return Base(book=book, layout=(folder / "layout.toml").read_bytes(), sheets=sheets)


def _as_csv(sheet) -> bytes:
    for merged in list(sheet.merged_cells.ranges):
        value = sheet.cell(merged.min_row, merged.min_col).value
        sheet.unmerge_cells(str(merged))
        for row, column in merged.cells if merged.max_col > merged.min_col else ():
            sheet.cell(row, column).value = value
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerows([_as_text(value) for value in row] for row in sheet.iter_rows(values_only=True))
    return text.getvalue().encode()


def _as_text(value: object) -> str:
    return str(value).upper() if isinstance(value, bool) else "" if value is None else str(value)


def damaged(
    base: Base, folder: Path, number: int, *, seed: int = SEED
) -> tuple[Path, Path, tuple[str, ...], Workbook | None]:
    """Write copy `number`: the source, the layout, the damage done, and the workbook if only its cells were damaged."""
    rng = np.random.default_rng([seed, number])
    kind = KINDS[number % len(KINDS)]
    layout, book = folder / "layout.toml", None
    content, done = base.layout, []
    if kind == "layout" or rng.random() < 0.05:
        content, done = _changed(rng, LAYOUT_DAMAGE, content, int(rng.integers(1, 3)))
    layout.write_bytes(content)
    if kind == "csv":
        source = folder / "export"
        done += _write_csv(rng, base, source)
    else:
        source = folder / "unit_export.xlsx"
        content = base.book
        if kind == "bytes":
            content, more = _changed(rng, BOOK_DAMAGE, content, 1)
            done += more
        elif kind == "cells":
            book = load_workbook(io.BytesIO(content))
            chosen = [CELL_DAMAGE[int(each)] for each in rng.integers(0, len(CELL_DAMAGE), int(rng.integers(1, 5)))]
            for damage in sorted(chosen, key=lambda each: each is far_away):  # last: it makes all others slow
                damage(rng, book)
                done.append(damage.__name__)
            buffer = io.BytesIO()
            book.save(buffer)
            content = buffer.getvalue()
        source.write_bytes(content)
    return source, layout, tuple(done), book


def _changed(rng: np.random.Generator, choices, content: bytes, times: int) -> tuple[bytes, list[str]]:
    done = []
    for _ in range(times):
        damage = choices[int(rng.integers(len(choices)))]
        content = damage(rng, content)
        done.append(damage.__name__)
    return content, done


def _write_csv(rng: np.random.Generator, base: Base, folder: Path) -> list[str]:
    folder.mkdir()
    spoilt = sorted(base.sheets)[int(rng.integers(len(base.sheets)))]
    content, done = _changed(rng, CSV_DAMAGE, base.sheets[spoilt], int(rng.integers(1, 3)))
    for title, body in base.sheets.items():
        (folder / f"{title}.csv").write_bytes(content if title == spoilt else body)
    return [f"{damage} of {spoilt}.csv" for damage in done]


@contextmanager
def _at_most(seconds: int) -> Iterator[None]:
    def stop(*_) -> None:
        raise TooLong

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


@contextmanager
def _past_the_privacy_check() -> Iterator[None]:
    kept = loading.screened
    loading.screened = lambda export, *_: Screened(export=export)
    try:
        yield
    finally:
        loading.screened = kept


def try_copy(base: Base, folder: Path, number: int, *, seed: int = SEED) -> Outcome:
    """Make one damaged copy in an empty folder, read it, and say what became of it."""
    source, layout, done, book = damaged(base, folder, number, seed=seed)
    became, told = "read", ""
    try:
        with _at_most(LONGEST_SECONDS):
            try:
                read = loading.read_with_layout(source, layout)
            except NecrostatsError as refusal:
                if "tell who somebody is" not in str(refusal):
                    raise
                became = "read past the privacy check"
                with _past_the_privacy_check():
                    read = loading.read_with_layout(source, layout)
            told = lost(read, book)
        became = "lost" if told else became
    except NecrostatsError as refusal:
        became, told = "refused", str(refusal).splitlines()[0]
        if not told.strip():
            became, told = "traceback", "an error without a word"
    except TooLong:
        became = "hang"
    except Exception:  # what this is looking for
        became, told = "traceback", traceback.format_exc()
    return Outcome(number=number, became=became, damage=done, told=told)


def lost(read: ReadExport, book: Workbook | None) -> str:
    """What is not accounted for; blank if all is. The workbook, where there is one, is counted independently."""
    counts = counts_of(read.material)
    ledger_of(read)
    if not counts.complete:
        return f"does not add up: {counts}"
    rows = sum(len(sheet) for sheet in read.material.laid.sheets)
    if counts.rows != rows:
        return f"{counts.rows} rows of {rows}"
    if book is None:
        return ""
    below = {sheet.grid.sheet: max(sheet.layout.header_rows) for sheet in read.material.laid.sheets}
    filled = [cell for sheet in book for cell in sheet._cells.values() if cell.row > below.get(sheet.title, 0)]
    filled = [cell for cell in filled if cell.value is not None and str(cell.value).strip()]
    there = len({(cell.parent.title, cell.row) for cell in filled if cell.parent.title in below})
    if (counts.cells, counts.rows) != (len(filled), there):
        return f"{counts.cells} cells of {len(filled)}, {counts.rows} rows of {there}"
    return ""


def main(given: list[str] | None = None) -> int:
    """Run from the command line; 1 if a copy was not read and not refused."""
    parser = argparse.ArgumentParser(prog="damage.py", description=__doc__)
    parser.add_argument("--copies", type=int, default=100, help="how many (default 100)")
    parser.add_argument("--first", type=int, default=0, help="number of the first (default 0)")
    parser.add_argument("--seed", type=int, default=SEED)
    arguments = parser.parse_args(given)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    counts: Counter = Counter()
    with tempfile.TemporaryDirectory() as home:
        base = base_in(Path(home))
        for number in range(arguments.first, arguments.first + arguments.copies):
            with tempfile.TemporaryDirectory() as folder:
                outcome = try_copy(base, Path(folder), number, seed=arguments.seed)
            counts[outcome.became] += 1
            if outcome.became in ("traceback", "hang", "lost"):
                print(f"copy {number}: {outcome.became}; {', '.join(outcome.damage)}\n{outcome.told}", flush=True)
    print(", ".join(f"{became} {counts[became]:,}" for became in IN_ORDER), f"of {arguments.copies:,} copies")
    return int(any(counts[became] for became in ("traceback", "hang", "lost")))


if __name__ == "__main__":
    raise SystemExit(main())
