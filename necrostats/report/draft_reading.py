"""A draft as its author left it: paragraphs and tables in their order, from a docx, markdown or plain text file.

Its text as words, numbers and signs that can be compared: whatever was typed, the same thing is the same token.
"""

from __future__ import annotations

import html
import io
import re
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import lru_cache
from pathlib import Path
from xml.etree import ElementTree

from necrostats.errors import SourceError, unknown_choice
from necrostats.present.bound import NUMBER, number_in

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


def units_of(said: Sequence[Token]) -> dict[str, str]:
    """What a text counts or measures: each unit, and the word that it was written with."""
    return {UNITS[token.same]: token.text for token in said if token.same in UNITS}


def is_rounded(token: Token, value: float, expected: Token) -> bool:
    """Whether a number is the expected one with fewer decimals."""
    return token.decimals < expected.decimals and round(abs(token.value - value), 9) <= 0.5 * 10**-token.decimals


def rounds_to(token: Token, value: float) -> bool:
    """Whether a number is a value, rounded to the decimals it is written with."""
    return round(abs(token.value - value), 6) <= 0.5 * 10**-token.decimals


def is_year(token: Token) -> bool:
    """A number that an author's own sentence may hold as a year."""
    return not token.decimals and "," not in token.text and 1950 <= token.value <= 2099


_BLANKS = re.compile("[\u00a0\u2000-\u200a\u202f\u205f\u3000]")
_TOKEN = re.compile(
    rf"(?P<skip>\b(?:tables?|figures?|figs?\.?|ref\.?|refs\.?|version|doi|appendix)\s*[S#]?\d[\d.,–-]*[A-Za-z]?|\[\d[\d,;–\s-]*\])"
    rf"|(?P<number>{NUMBER.pattern})|(?P<sign>[%–])|(?P<word>[^\W\d_]+(?:[-'’][^\W\d_]+)*)",
    re.IGNORECASE,
)
UNITS = {
    "patient": "patients",
    "patients": "patients",
    "case": "patients",
    "cases": "patients",
    "session": "sessions",
    "sessions": "sessions",
    "procedure": "sessions",
    "procedures": "sessions",
    "necrosectomy": "necrosectomies",
    "necrosectomies": "necrosectomies",
    "collection": "collections",
    "collections": "collections",
    "event": "events",
    "events": "events",
    "day": "days",
    "days": "days",
    "week": "weeks",
    "weeks": "weeks",
    "month": "months",
    "months": "months",
    "year": "years",
    "years": "years",
    "patient-days": "patient-days",
    "stent-days": "stent-days",
    "mm": "mm",
    "cm": "cm",
    "ml": "ml",
    "l": "l",
    "g": "g",
    "rows": "rows",
}
"""What is counted or measured, by each word for it."""

OUTCOMES = {
    "resolution": "resolution",
    "resolved": "resolution",
    "died": "death",
    "death": "death",
    "deaths": "death",
    "surgery": "surgery",
    "percutaneous": "percutaneous drain",
    "recurrence": "recurrence",
    "recurrences": "recurrence",
    "median": "median",
    "mean": "mean",
}


@dataclass(frozen=True, kw_only=True)
class Token:
    """A word, a sign or a number; `same` is what it is compared by, all numbers alike ("#")."""

    text: str
    same: str
    value: float | None = None
    decimals: int = 0

    @property
    def is_number(self) -> bool:
        """Whether it is a number."""
        return self.value is not None


def straightened(text: str) -> str:
    """A text with plain blanks, dashes, quotes and decimal points."""
    plain = _BLANKS.sub(" ", text).replace("\u2011", "-").replace("’", "'")
    plain = re.sub(r"(?<=\d)\s*[-‐‒–—]\s*(?=\d)", "–", plain)
    plain = re.sub(r"(?<=\d)[·∙⋅](?=\d)", ".", plain)
    return re.sub(r"(?<=\d)\s+(?=%)", "", plain)


@lru_cache(maxsize=65536)
def tokens(text: str) -> tuple[Token, ...]:
    """The tokens of a text in order; numbers of tables, figures and references are passed over."""
    found = []
    for match in _TOKEN.finditer(straightened(text)):
        if match["number"]:
            printed = match["number"]
            decimals = len(printed.partition(".")[2])
            found.append(Token(text=printed, same="#", value=number_in(printed), decimals=decimals))
        elif match["sign"] or match["word"]:
            word = (match["sign"] or match["word"]).lower()
            found.append(Token(text=match[0], same="to" if word == "–" else word))
    return tuple(found)


_OF_FIGURES = frozenset(("#", "%", "to", "of", "ci", "a", "the", "and", "in", "by", "with"))


def content(said: Sequence[Token]) -> tuple[str, ...]:
    """The words that say what a text is about, without those that go with any figure."""
    return tuple(token.same for token in said if token.same not in _OF_FIGURES)


_END = re.compile(r"(?<=[.!?])[\"')\]]*\s+(?=[\"'(\[]?[A-Z0-9])")


def sentences(text: str) -> list[str]:
    """The sentences of a text."""
    return [part for part in _END.split(" ".join(text.split())) if part.strip()]


@dataclass(frozen=True, kw_only=True)
class Fraction:
    """Where "k of n" stands, and the share and its limits where they follow: places among tokens, -1 for none."""

    n: int
    share: int = -1
    low: int = -1
    high: int = -1

    @property
    def places(self) -> set[int]:
        """All places but those of k and of what is not there."""
        return {place for place in (self.n, self.share, self.low, self.high) if place >= 0}


_BETWEEN = frozenset(
    ("patients", "sessions", "patient", "session", "of", "the", "ci", "%", "to", "confidence", "interval")
)


def fraction(said: Sequence[Token], place: int) -> Fraction | None:
    """The fraction whose k stands at a place, with "(35 %, 95 % CI 28–44 %)" after it or a part of that; else none."""
    if place + 2 >= len(said) or said[place].decimals or said[place + 1].same != "of" or not said[place + 2].is_number:
        return None
    numbers = []
    for at in range(place + 3, min(place + 18, len(said))):
        if said[at].is_number:
            numbers.append(at)
        elif said[at].same not in _BETWEEN:
            break
    share, *rest = numbers if numbers and _is_percent(said, numbers[0]) else [-1]
    if rest and _is_percent(said, rest[0]) and rest[0] + 2 < len(said) and said[rest[0] + 2].same == "ci":
        rest = rest[1:]
    limits = rest[:2] if len(rest) > 1 and rest[1] == rest[0] + 2 and said[rest[0] + 1].same == "to" else [-1, -1]
    return Fraction(n=place + 2, share=share, low=limits[0], high=limits[1])


def _is_percent(said: Sequence[Token], place: int) -> bool:
    return place + 1 < len(said) and said[place + 1].same == "%"


def likeness(one: Sequence[str], two: Sequence[str]) -> float:
    """How alike two sequences of words are, 0 to 1."""
    return SequenceMatcher(None, list(one), list(two), autojunk=False).ratio()
