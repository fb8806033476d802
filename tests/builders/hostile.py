"""The invented registry with hostile text in every field that holds text, and what its outputs must be free of."""

from __future__ import annotations

import base64
import csv
import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import openpyxl
import pandas as pd
from bs4 import BeautifulSoup

from necrostats import bundled
from necrostats.registry.codebook import TABLES

VALUES = (
    "<script>alert(1)</script>",
    '<img src="x" onerror="alert(1)">',
    '"><svg/onload=alert(1)>',
    '<a href="javascript:alert(1)">here</a>',
    "<style>*{display:none}</style>",
    '=HYPERLINK("http://x.invalid","here")',
    '+1+cmd|" /C calc"!A0',
    "-2+3",
    "@SUM(1,2)",
    "[here](javascript:alert(1))",
    "![here](http://x.invalid/a.png)",
    "http://x.invalid/a",
    "`rm -rf .`",
    "'); import os; os.abort() #",
    r"$\input{/etc/passwd}$",
    "{{7*7}}",
    "%run x",
    "|a|b|",
    "\u202egnp.exe",
    "a\u2066b\u2069\u200f",
    "a\u200bb",
    "&lt;b&gt;",
)
HEADINGS = tuple(each for each in VALUES if "http" not in each and ".exe" not in each)
"""Of them those that the privacy check lets stand as a heading."""
UNSEEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u200b\u200e\u200f\u202a-\u202e\u2066-\u2069]")
TAGS = frozenset(
    """
    a b body br caption code col colgroup dd details div dl dt em figcaption figure h1 h2 h3 h4 head html
    img li main meta nav ol p pre section span strong style summary table tbody td tfoot th thead title tr ul
    """.split()  # noqa: SIM905
)
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def hostile_registry(folder: Path) -> list[str]:
    """Writes the registry; every id, every text, and every ninth code is hostile. Returns the columns to accept."""
    accepted, ids = [], {}
    for name, table in TABLES.items():
        frame = pd.read_csv(bundled.synthetic_registry() / "tidy" / f"{name}.csv", dtype=str, keep_default_na=False)
        for place, column in enumerate(table.columns):
            if column.name not in frame or column.kind not in ("id", "ids", "text", "code"):
                continue
            accepted.append(f"{name}.csv!{column.name}")
            frame[column.name] = [
                _hostile(column.kind, text, row + place, ids) for row, text in enumerate(frame[column.name])
            ]
        odd = HEADINGS[len(accepted) % len(HEADINGS)]
        frame[odd] = VALUES[0]
        accepted.append(f"{name}.csv!{odd}")
        frame.to_csv(folder / f"{name}.csv", index=False)
    return accepted


def _hostile(kind: str, text: str, place: int, ids: dict[str, str]) -> str:
    value = VALUES[place % len(VALUES)]
    if kind == "text":
        return value
    if kind == "code":
        return value if place % 9 == 3 else text
    return ";".join(ids.setdefault(each, f"{value} {each}") for each in text.split(";")) if text else text


def in_html(page: str) -> Iterator[str]:
    """What a page holds that it must not: a foreign tag, a handler, a way out, a sign that cannot be seen."""
    if UNSEEN.search(page):
        yield f"unseen {UNSEEN.search(page)[0]!r}"
    for tag in BeautifulSoup(page, features="html.parser").find_all(True):
        if tag.name not in TAGS:
            yield f"tag {tag.name}"
        for name, value in tag.attrs.items():
            if name.startswith("on") or (name == "href" and not str(value).startswith("#")):
                yield f"{name}={value}"
            if name == "src":
                yield from _in_picture(str(value))
        if tag.name == "style" and "display:none" in tag.text:
            yield "style"


def _in_picture(source: str) -> Iterator[str]:
    if not source.startswith("data:image/"):
        yield f"src={source}"
    if source.startswith("data:image/svg+xml;base64,"):
        yield from in_svg(base64.b64decode(source.split(",", 1)[1]))


def in_svg(drawing: bytes) -> Iterator[str]:
    """What a drawing holds that could run, or lead out of it."""
    for element in ElementTree.fromstring(drawing).iter():
        if element.tag.rsplit("}", 1)[-1] in ("script", "foreignObject", "a", "image"):
            yield element.tag
        for name, value in element.attrib.items():
            local = name.rsplit("}", 1)[-1]
            if local.startswith("on") or (local == "href" and not value.startswith("#")):
                yield f"{name}={value}"


def in_workbook(content: bytes) -> Iterator[str]:
    """What a workbook holds that is a formula, a link or cannot be seen."""
    book = openpyxl.load_workbook(io.BytesIO(content))
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f" or cell.hyperlink:
                    yield f"{sheet.title}!{cell.coordinate}"
                if isinstance(cell.value, str) and UNSEEN.search(cell.value):
                    yield f"{sheet.title}!{cell.coordinate} unseen"


def in_word(content: bytes) -> Iterator[str]:
    """What a document holds that is a field, a link to somewhere, or cannot be seen."""
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        for name in parts.namelist():
            text = parts.read(name).decode("utf-8", errors="replace") if name.endswith((".xml", ".rels")) else ""
            if UNSEEN.search(text):
                yield f"{name} unseen"
            if name.endswith(".rels") and re.search(r'TargetMode="External"', text):
                yield f"{name} external"
            if name == "word/document.xml" and re.search(r"<w:(hyperlink|object|altChunk)\b", text):
                yield name
            for field in re.findall(r"<w:instrText[^>]*>([^<]*)<", text):
                if field.split()[0] not in ("PAGE", "NUMPAGES"):
                    yield f"{name} field {field}"


def in_csv(text: str) -> Iterator[str]:
    """Cells that a spreadsheet would take for a formula, or that hold a sign that cannot be seen."""
    for line in csv.reader(io.StringIO(text)):
        for cell in line:
            if cell.startswith(FORMULA) and not re.fullmatch(r"[-+]?[0-9.]+([eE][-+]?[0-9]+)?", cell):
                yield cell
            if UNSEEN.search(cell):
                yield f"unseen {cell!r}"


def in_text(text: str) -> Iterator[str]:
    """Signs that a terminal or an editor would obey and not show."""
    yield from (repr(each) for each in UNSEEN.findall(text))
