"""A draft as its author left it: paragraphs and tables in their order, from a docx, markdown or plain text file."""

from __future__ import annotations

import html
import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from necrostats.errors import SourceError, unknown_choice

KINDS = (".docx", ".md", ".txt")
_W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"
_BODY = ("word/document.xml", "word/footnotes.xml", "word/endnotes.xml")
_MARKS = re.compile(r"word/(footer|header)\d*\.xml|docProps/core\.xml")
_TAKEN_OUT = frozenset(f"{_W}{name}" for name in ("del", "moveFrom"))
MOST_BYTES = 200_000_000
LONGEST_LINE = 132
"""Plain text with a longer line is not wrapped: each line is a paragraph."""


@dataclass(frozen=True, kw_only=True)
class DraftParagraph:
    """A paragraph, the place it stands at, and the heading it stands under."""

    where: str
    section: str
    text: str


@dataclass(frozen=True, kw_only=True)
class DraftTable:
    """A table as rows of cells, the first row its head."""

    where: str
    section: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True)
class Draft:
    """What a draft holds, and the text outside its body in which its mark may stand (footer, properties)."""

    name: str
    parts: tuple[DraftParagraph | DraftTable, ...]
    beside: str = ""

    @property
    def text(self) -> str:
        """All of it as one text."""
        return "\n".join([*(part.text for part in self.parts if isinstance(part, DraftParagraph)), self.beside])


def read_draft(file: str | Path) -> Draft:
    """A draft from a .docx, .md or .txt file; SourceError if it cannot be read, ChoiceError for another kind of file.

    What was struck out with changes tracked is not read, what was put in is.
    """
    path = Path(file)
    kind = path.suffix.lower()
    if kind not in KINDS:
        raise unknown_choice("kind of draft", path.suffix, KINDS)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise SourceError(f"{path} cannot be read ({error.strerror}). Check the path.") from error
    if kind == ".docx":
        pieces, beside = _word(content, path.name)
    else:
        pieces, beside = _lines(_decoded(content, path.name), markdown=kind == ".md"), ""
    return Draft(name=path.name, parts=tuple(_placed(pieces)), beside=beside)


Piece = tuple[str, object]
"""("heading", text), ("paragraph", text) or ("table", rows)."""

SECTIONS = (
    "title",
    "abstract",
    "background",
    "introduction",
    "aims",
    "objectives",
    "methods",
    "results",
    "discussion",
    "conclusion",
    "conclusions",
    "references",
    "acknowledgements",
    "funding",
)
_OPENING = re.compile(rf"\s*({'|'.join(SECTIONS)})\s*[:.]\s+", re.IGNORECASE)


def _placed(pieces: Iterator[Piece]) -> Iterator[DraftParagraph | DraftTable]:
    """The pieces with their place and heading; "Results: …" opens a section as a heading does."""
    section, paragraphs, tables = "", 0, 0
    for kind, held in pieces:
        if kind == "heading":
            section = held
        elif kind == "table":
            tables += 1
            yield DraftTable(where=f"table {tables}", section=section, rows=held)
        else:
            paragraphs += 1
            if opening := _OPENING.match(held):
                section, held = opening[1], held[opening.end() :]
            yield DraftParagraph(where=f"paragraph {paragraphs}", section=section, text=held)


def _decoded(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SourceError(f"{name} is not text in UTF-8. Save it again as UTF-8.") from error


def _lines(text: str, *, markdown: bool) -> Iterator[Piece]:
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    unwrapped = not markdown and max(map(len, plain.split("\n"))) > LONGEST_LINE
    for block in plain.split("\n") if unwrapped else re.split(r"\n\s*\n", plain):
        lines = [line.strip() for line in block.split("\n") if line.strip()]
        rows = [_cells(line) for line in lines if line.startswith("|")]
        if markdown and len(rows) > 1 and len(rows) == len(lines):
            yield "table", tuple(row for row in rows if not all(re.fullmatch(r":?-+:?", cell) for cell in row))
            continue
        while lines and (heading := _heading(lines[0], markdown)):
            yield "heading", heading
            lines = lines[1:]
        if lines:
            yield "paragraph", _plain(" ".join(lines)) if markdown else " ".join(lines)


def _heading(line: str, markdown: bool) -> str:
    if markdown and (found := re.fullmatch(r"#{1,6}\s+(.*?)\s*#*", line)):
        return _plain(found[1])
    bare = line.strip("*_: ")
    return bare if bare.lower() in SECTIONS else ""


def _cells(line: str) -> tuple[str, ...]:
    inner = line.strip().removeprefix("|").removesuffix("|")
    return tuple(_plain(cell.strip()) for cell in re.split(r"(?<!\\)\|", inner))


def _plain(text: str) -> str:
    """Markdown without its marks."""
    bare = re.sub(r"(\*\*|__|`)", "", text)
    bare = re.sub(r"(?<![\w*])\*(?!\s)|(?<!\s)\*(?![\w*])", "", bare)
    return html.unescape(re.sub(r"\\([\\`*_{}\[\]()#+.!|<>-])", r"\1", bare)).strip()


def _word(content: bytes, name: str) -> tuple[list[Piece], str]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as file:
            if sum(each.file_size for each in file.infolist()) > MOST_BYTES:
                raise SourceError(f"{name} unpacks to more than a draft can hold. Take its pictures out.")
            held = {each: file.read(each) for each in file.namelist() if each in _BODY or _MARKS.fullmatch(each)}
        if _BODY[0] not in held:
            raise SourceError(f"{name} holds no Word document. Save it again as .docx.")
        roots = {each: _parsed(xml) for each, xml in held.items()}
    except (zipfile.BadZipFile, ElementTree.ParseError, RuntimeError, NotImplementedError) as error:
        raise SourceError(f"{name} cannot be read as a Word document. Save it again as .docx.") from error
    pieces = [piece for each in _BODY if each in roots for piece in _pieces(roots[each])]
    beside = " ".join(" ".join(roots[each].itertext()) for each in sorted(roots) if each not in _BODY)
    return pieces, beside


def _parsed(xml: bytes) -> ElementTree.Element:
    if b"<!DOCTYPE" in xml or b"<!ENTITY" in xml:
        raise ElementTree.ParseError("a document type in a Word document")
    return ElementTree.fromstring(xml)


def _pieces(parent: ElementTree.Element) -> Iterator[Piece]:
    for element in parent:
        if element.tag == f"{_W}p":
            yield from _paragraph(element)
        elif element.tag == f"{_W}tbl":
            yield "table", _rows(element)
        elif element.tag not in _TAKEN_OUT:
            yield from _pieces(element)


def _paragraph(element: ElementTree.Element) -> Iterator[Piece]:
    text = " ".join(_text(element).split())
    look = element.find(f"{_W}pPr/{_W}pStyle")
    is_heading = look is not None and look.get(f"{_W}val", "").lower().startswith(("heading", "title", "berschrift"))
    if text:
        yield ("heading" if is_heading or text.strip(": ").lower() in SECTIONS else "paragraph"), text
    for box in element.iter(f"{_W}txbxContent"):
        yield from _pieces(box)


def _text(element: ElementTree.Element) -> str:
    if element.tag in _TAKEN_OUT or element.tag == f"{_W}txbxContent":
        return ""
    if element.tag == f"{_W}t":
        return element.text or ""
    if element.tag in (f"{_W}tab", f"{_W}br", f"{_W}cr"):
        return " "
    if element.tag == f"{_W}noBreakHyphen":
        return "-"
    return "".join(map(_text, element))


def _rows(element: ElementTree.Element) -> tuple[tuple[str, ...], ...]:
    """The cells of a table; one that goes on from the cell above holds its text again."""
    rows: list[tuple[str, ...]] = []
    for row in element.iter(f"{_W}tr"):
        cells = []
        for place, cell in enumerate(row.findall(f"{_W}tc")):
            text = " ".join(" ".join(_text(each) for each in cell.iter(f"{_W}p")).split())
            merge = cell.find(f"{_W}tcPr/{_W}vMerge")
            goes_on = merge is not None and merge.get(f"{_W}val", "continue") == "continue"
            above = rows[-1][place] if goes_on and rows and place < len(rows[-1]) else ""
            cells.append(above if goes_on and not text else text)
        rows.append(tuple(cells))
    return tuple(rows)
