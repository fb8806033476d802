"""What a workbook's own XML says about a sheet and openpyxl's quick reader does not: hidden, merged, commented."""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from xml.etree import ElementTree

from necrostats.registry.export.cells import Comment, Merge

_CELL = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_MOST_MERGES = 100_000


@dataclass(frozen=True, kw_only=True)
class Marks:
    """Row and column numbers from 1; `no_result` are (row, column) of formulas without a kept result."""

    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    merges: tuple[Merge, ...] = ()
    no_result: frozenset[tuple[int, int]] = frozenset()
    comments: tuple[Comment, ...] = ()
    other_texts: tuple[str, ...] = ()


def marks_of(archive: zipfile.ZipFile, part: str) -> Marks:
    """The marks of the sheet stored in a part of a workbook. The file must have been looked at for entities before."""
    hidden_rows, hidden_columns, merges, no_result, texts = set(), set(), [], set(), []
    row = 0
    with archive.open(part) as file:
        for event, element in ElementTree.iterparse(file, ("start", "end")):
            name = _name(element)
            if event == "start":
                if name == "row":
                    row = int(element.get("r") or row + 1)
                    if element.get("hidden") in ("1", "true"):
                        hidden_rows.add(row)
                continue
            if name == "col" and element.get("hidden") in ("1", "true"):
                first, last = int(element.get("min", 0)), int(element.get("max", 0))
                hidden_columns.update(range(first, min(last, 16384) + 1))
            elif name == "mergeCell" and len(merges) < _MOST_MERGES:
                merges += _area(element.get("ref", ""))
            elif name == "c":
                no_result.update(_without_result(element))
            elif name in ("oddHeader", "oddFooter", "evenHeader", "evenFooter", "firstHeader", "firstFooter"):
                texts.append(element.text or "")
            if name in ("row", "mergeCell", "col"):
                element.clear()
    comments, drawn = _beside(archive, part)
    return Marks(
        hidden_rows=frozenset(hidden_rows), hidden_columns=frozenset(hidden_columns), merges=tuple(merges),
        no_result=frozenset(no_result), comments=comments, other_texts=(*texts, *drawn),
    )  # fmt: skip


def _name(element: ElementTree.Element) -> str:
    return element.tag.rpartition("}")[2]


def place_of(reference: str) -> tuple[int, int] | None:
    """Row and column of "B5"; None for anything else."""
    found = _CELL.fullmatch(reference.replace("$", ""))
    if not found:
        return None
    column = 0
    for letter in found[1]:
        column = column * 26 + ord(letter) - 64
    return int(found[2]), column


def _area(reference: str) -> list[Merge]:
    first, _, last = reference.partition(":")
    start, end = place_of(first), place_of(last or first)
    return [(*start, *end)] if start and end else []


def _without_result(cell: ElementTree.Element) -> list[tuple[int, int]]:
    """The place of a formula whose result was not kept; an empty text is a result."""
    inside = {_name(child): child.text or "" for child in cell}
    if "f" not in inside or inside.get("v") or "is" in inside or ("v" in inside and cell.get("t") == "str"):
        return []
    place = place_of(cell.get("r", ""))
    return [place] if place else []


def _beside(archive: zipfile.ZipFile, part: str) -> tuple[tuple[Comment, ...], tuple[str, ...]]:
    """The comments of a sheet, and the texts in its drawings."""
    comments, texts = [], []
    for target in _related(archive, part):
        if "comments" in target.lower():
            comments += _comments(archive, target)
        elif "drawing" in target.lower() and target.endswith(".xml"):
            texts += all_texts(archive, target, only=("t",))
    return tuple(comments), tuple(texts)


def _related(archive: zipfile.ZipFile, part: str) -> Iterator[str]:
    folder, _, name = part.rpartition("/")
    links = f"{folder}/_rels/{name}.rels"
    if links not in archive.namelist():
        return
    for link in ElementTree.fromstring(archive.read(links)):
        target = link.get("Target", "")
        if link.get("TargetMode") != "External":
            path = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"{folder}/{target}")
            if path in archive.namelist():
                yield path


def _comments(archive: zipfile.ZipFile, part: str) -> Iterator[Comment]:
    for element in ElementTree.fromstring(archive.read(part)).iter():
        if _name(element) in ("comment", "threadedComment"):
            text = "".join(each.text or "" for each in element.iter() if _name(each) in ("t", "text"))
            yield Comment(place=element.get("ref", ""), text=text)


def all_texts(archive: zipfile.ZipFile, part: str, only: Collection[str] = ()) -> list[str]:
    """Every text in a part of the workbook, or those of some elements; none if it is not sound XML."""
    try:
        root = ElementTree.fromstring(archive.read(part))
    except ElementTree.ParseError:
        return []
    said = (element for element in root.iter() if not only or _name(element) in only)
    return [element.text.strip() for element in said if element.text and element.text.strip()]
