"""Damaged copies of the messy workbook and of the seven exports of first_meetings, and what becomes of them.

`python tests/builders/damage.py --copies 2000` prints the counts.

A copy must be tidied, with every filled cell found again by the independent count of `conservation`, or refused in one
NecrostatsError. A copy that the privacy check refuses is read once more past it, so that the damage reaches the rest.
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
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from openpyxl import Workbook, load_workbook

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from builders.conservation import account
from builders.damage_cells import CELL_DAMAGE, far_away
from builders.damage_files import BOOK_DAMAGE, CSV_DAMAGE, LAYOUT_DAMAGE
from necrostats.bundled import synthetic_registry
from necrostats.errors import NecrostatsError
from necrostats.registry.export import loading
from necrostats.registry.export.private import Screened
from necrostats.registry.export.tidying import Tidied, tidy

SEED = 20261001
LONGEST_SECONDS = 10  # of the processor, so that a busy machine makes no hang
FIRST_MEETINGS = Path(__file__).parents[1] / "first_meetings"
MOST_MEMORY = 4 << 30
KINDS = ("cells", "cells", "cells", "layout", "bytes", "csv")
IN_ORDER = ("read", "read past the privacy check", "refused", "not to be counted", "traceback", "hang", "lost")
WRONG = ("traceback", "hang", "lost")


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
    """What became of one copy: a word of IN_ORDER, the damage done, what there is to say, and where its cells are."""

    number: int
    became: str
    damage: tuple[str, ...]
    told: str = ""
    cells: Counter = field(default_factory=Counter)
    seconds: float = 0.0


def base_in(folder: Path, *, since: str = "2026Q3") -> Base:
    """The messy export of the patients of one or more quarters, written to `folder`."""
    script = synthetic_registry() / "messy_export" / "write.py"
    command = [sys.executable, str(script), "--to", str(folder), "--since", since]
    subprocess.run(command, check=True, cwd=folder, capture_output=True)
    book = (folder / "unit_export.xlsx").read_bytes()
    sheets = {sheet.title: _as_csv(sheet) for sheet in load_workbook(io.BytesIO(book), data_only=True)}
    return Base(book=book, layout=(folder / "layout.toml").read_bytes(), sheets=sheets)


def base_of(folder: Path) -> Base:
    """One of the exports of first_meetings."""
    files = sorted((folder / "export").iterdir())
    book = files[0].read_bytes() if files[0].suffix == ".xlsx" else _as_book(files)
    sheets = {sheet.title: _as_csv(sheet) for sheet in load_workbook(io.BytesIO(book), data_only=True)}
    return Base(book=book, layout=(folder / "layout.toml").read_bytes(), sheets=sheets)


def _as_book(files: list[Path]) -> bytes:
    book, buffer = Workbook(), io.BytesIO()
    book.remove(book.active)
    for file in files:
        sheet = book.create_sheet(file.stem)
        with file.open(encoding="cp1252", newline="") as text:
            for line in csv.reader(text, delimiter=";"):
                sheet.append(line)
    book.save(buffer)
    return buffer.getvalue()


def bases_in(folder: Path) -> list[Base]:
    """The messy export, written to `folder`, and the seven of first_meetings."""
    return [base_in(folder), *(base_of(each) for each in sorted(FIRST_MEETINGS.iterdir()) if each.is_dir())]


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


def damaged(base: Base, folder: Path, number: int, *, seed: int = SEED) -> tuple[Path, Path, tuple[str, ...]]:
    """Write copy `number`: the source, the layout, the damage done."""
    rng = np.random.default_rng([seed, number])
    kind = KINDS[number % len(KINDS)]
    layout = folder / "layout.toml"
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
    return source, layout, tuple(done)


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

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


@contextmanager
def _past_the_privacy_check() -> Iterator[None]:
    kept = loading.screened
    loading.screened = lambda export, *_: Screened(export=export)
    try:
        yield
    finally:
        loading.screened = kept


def try_copy(base: Base, folder: Path, number: int, *, seed: int = SEED) -> Outcome:
    """Make one damaged copy in an empty folder, tidy it, and say what became of it and of its cells."""
    source, layout, done = damaged(base, folder, number, seed=seed)
    started = time.process_time()
    became, told, cells = _tidied(source, layout, folder / "tidy")
    seconds = time.process_time() - started
    if became.startswith("read"):
        became, told, cells = _counted(source, layout, folder / "tidy", became)
    return Outcome(number=number, became=became, damage=done, told=told, cells=cells, seconds=seconds)


def _tidied(source: Path, layout: Path, to: Path) -> tuple[str, str, Counter]:
    try:
        with _at_most(LONGEST_SECONDS):
            became, made = _past_refusal(source, layout, to)
        if not made.counts.complete:
            return "lost", f"the package's own count does not add up: {made.counts}", Counter()
        return became, "", Counter()
    except NecrostatsError as refusal:
        said = str(refusal).splitlines()[0] if str(refusal).strip() else ""
        return ("refused", said, Counter()) if said else ("traceback", "an error without a word", Counter())
    except TooLong:
        return "hang", "", Counter()
    except Exception:  # what this is looking for
        return "traceback", traceback.format_exc(), Counter()


def _past_refusal(source: Path, layout: Path, to: Path) -> tuple[str, Tidied]:
    try:
        return "read", tidy(source, layout, to)
    except NecrostatsError as refusal:
        if "tell who somebody is" not in str(refusal):
            raise
    with _past_the_privacy_check():
        return "read past the privacy check", tidy(source, layout, to)


def _counted(source: Path, layout: Path, to: Path, became: str) -> tuple[str, str, Counter]:
    """The independent count. A file that openpyxl, the csv module or tomllib do not read by themselves has none."""
    try:
        found = account(source, layout, to)
    except Exception as error:  # of a damaged file anything can be raised
        return "not to be counted", f"{type(error).__name__}: {error}", Counter()
    told = f"{len(found.lost)} lost: " + "; ".join(found.lost[:5]) if found.lost else ""
    return ("lost" if found.lost else became), told, found.became


def main(given: list[str] | None = None) -> int:
    """Run from the command line; 1 if a copy was not read and not refused."""
    parser = argparse.ArgumentParser(prog="damage.py", description=__doc__)
    parser.add_argument("--copies", type=int, default=100, help="how many (default 100)")
    parser.add_argument("--first", type=int, default=0, help="number of the first (default 0)")
    parser.add_argument("--seed", type=int, default=SEED)
    arguments = parser.parse_args(given)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    outcomes = []
    with tempfile.TemporaryDirectory() as home:
        bases = bases_in(Path(home))
        for number in range(arguments.first, arguments.first + arguments.copies):
            with tempfile.TemporaryDirectory() as folder:
                base = bases[number // len(KINDS) % len(bases)]
                outcomes.append(try_copy(base, Path(folder), number, seed=arguments.seed))
            _say(outcomes[-1])
    print("\n".join(_summary(outcomes)))
    return int(any(outcome.became in WRONG for outcome in outcomes))


def _say(outcome: Outcome) -> None:
    if outcome.became in (*WRONG, "not to be counted"):
        damage = ", ".join(outcome.damage)
        print(f"copy {outcome.number}: {outcome.became}; {damage}\n{outcome.told}", flush=True)


def _summary(outcomes: list[Outcome]) -> Iterator[str]:
    became = Counter(outcome.became for outcome in outcomes)
    yield ", ".join(f"{each} {became[each]:,}" for each in IN_ORDER) + f" of {len(outcomes):,} copies"
    yield f"longest {max(outcome.seconds for outcome in outcomes):.1f} s of the processor"
    cells: Counter = Counter()
    for outcome in outcomes:
        cells.update({"lost" if each.startswith("lost") else each: n for each, n in outcome.cells.items()})
    yield f"{cells.total():,} filled cells: " + ", ".join(f"{each} {n:,}" for each, n in cells.most_common())


if __name__ == "__main__":
    raise SystemExit(main())
