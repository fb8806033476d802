"""Finds the sheets and csv files of an export and reads every cell of them as written."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from necrostats.errors import SourceError
from necrostats.registry.export.cells import Export
from necrostats.registry.export.reading_csv import read_csv
from necrostats.registry.export.reading_xlsx import read_xlsx

TEXT, BOOK = (".csv", ".tsv", ".txt"), (".xlsx", ".xlsm")
LEFT_ALONE = (".toml", ".md")


def quietly(line: str) -> None:
    """Says nothing."""


def read_export(source: str | Path, *, say: Callable[[str], None] = quietly) -> Export:
    """A csv file, a workbook, or a folder of them, every cell as written; nothing in it is carried out.

    SourceError, one line a file, if there is nothing to read or a file is not what its name says. `say` is told
    what is being read.
    """
    path = Path(source)
    with _plainly(path.name):
        if not path.exists():
            raise SourceError(f"{path} does not exist. Give a workbook, a csv file, or a folder of them.")
        files = _files(path)
    digest, grids, texts, problems = hashlib.sha256(), [], [], []
    for file in files:
        say(f"reading {file.name}")
        try:
            with _plainly(file.name):
                if file.suffix.lower() in BOOK:
                    book = read_xlsx(file, digest)
                    grids += book.grids
                    texts += book.other_texts
                else:
                    grids.append(read_csv(file, digest, say))
        except SourceError as error:
            problems.append(str(error))
    if problems:
        raise SourceError("\n".join(problems))
    names = [("the name of the source", path.stem), *(("the name of a file", file.stem) for file in files)]
    return Export(
        name=path.resolve().name, sha256=digest.hexdigest(), grids=tuple(grids),
        other_texts=tuple(dict.fromkeys([*names, *texts])), unread=_unread(path),
    )  # fmt: skip


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        if path.suffix.lower() not in (*TEXT, *BOOK):
            raise SourceError(f"{path.name} is neither a workbook (.xlsx) nor a csv file. Save it as one of them.")
        return [path]
    files = [each for each in _inside(path) if each.suffix.lower() in (*TEXT, *BOOK)]
    if not files:
        raise SourceError(f"{path.name} holds neither a workbook (.xlsx) nor a csv file.")
    return files


def _inside(path: Path) -> list[Path]:
    return [each for each in sorted(path.iterdir()) if each.is_file() and not each.name.startswith((".", "~$"))]


def _unread(path: Path) -> tuple[str, ...]:
    if not path.is_dir():
        return ()
    return tuple(each.name for each in _inside(path) if each.suffix.lower() not in (*TEXT, *BOOK, *LEFT_ALONE))


@contextmanager
def _plainly(name: str) -> Iterator[None]:
    """A file that the system will not give up is a SourceError like any other."""
    try:
        yield
    except OSError as error:
        where = Path(str(error.filename)).name if error.filename else name
        raise SourceError(f"{where} cannot be opened: {(error.strerror or 'unknown reason').lower()}.") from error
