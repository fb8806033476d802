"""Labels: codes in plain words, groups in their order, text measured and broken to a width."""

from __future__ import annotations

import re
from functools import cache

import pandas as pd
from matplotlib.font_manager import FontProperties, get_font
from matplotlib.font_manager import findfont as find_font
from matplotlib.textpath import text_to_path

EVERYONE = "all"
_CODE = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)+")
_PLACE = re.compile(r"([a-z_]+)\.([a-z0-9_]+)")
_NUMBER = re.compile("n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}[0-9,]+")
_SCALES = {
    "asa class": "ASA class",
    "atlanta severity": "Atlanta severity",
    "agree grade": "AGREE grade",
    "asge severity": "ASGE severity",
    "clavien grade": "Clavien–Dindo grade",
    "icu nights": "ICU nights",
}
_NO_GLYPH = "\N{REPLACEMENT CHARACTER}"


def plain(label: object) -> str:
    """A code as words: "cap_suction" → "cap suction", "sessions.texture" → "sessions: texture"."""
    text = " ".join(str(label).split())
    if place := _PLACE.fullmatch(text):
        return _named(f"{place[1]}: {place[2]}".replace("_", " "))
    return _named(text.replace("_", " ") if _CODE.fullmatch(text) else text)


def _named(text: str) -> str:
    """The names of scales as their authors write them."""
    for written, name in _SCALES.items():
        text = text.replace(written, name)
    return text


def sentence_case(text: str) -> str:
    """The first letter a capital, the rest as written."""
    return text[:1].upper() + text[1:]


def in_order(values: pd.Series) -> list:
    """Every label of a column in its order: all categories, used or not, or else in order of appearance."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        return list(values.cat.categories)
    return list(dict.fromkeys(values.dropna()))


def with_n(name: str, n: str) -> str:
    """A name with its number, which no line break parts: "net, n = 17"."""
    return f"{name}, n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}{n}"


def is_grouped(table: pd.DataFrame) -> bool:
    """Whether a table has groups at all, and not just everyone."""
    return in_order(table["group"]) not in ([], [EVERYONE])


@cache
def _font(bold: bool) -> FontProperties:
    return FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")


@cache
def _glyphs(bold: bool) -> frozenset[int]:
    return frozenset(get_font(find_font(_font(bold))).get_charmap())


def drawable(text: str) -> str:
    """A text with a placeholder for each character that the font cannot draw."""
    return "".join(each if each == "\n" or ord(each) in _glyphs(False) else _NO_GLYPH for each in text)


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """The width in inches of the widest line of a text at a size in points."""
    font = _font(bold).copy()
    font.set_size(size)
    lines = [line for line in drawable(text).split("\n") if line]
    return max((text_to_path.get_text_width_height_descent(line, font, False)[0] for line in lines), default=0) / 72


def _pieces(word: str, width: float, size: float, bold: bool) -> list[str]:
    """A word cut where it is too long for a line."""
    pieces = [""]
    for letter in word:
        if pieces[-1] and width_of(pieces[-1] + letter, size, bold=bold) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def wrapped(text: str, width: float, size: float, *, bold: bool = False, most: int = 3) -> str:
    """A text broken into at most so many lines, none wider than so many inches.

    What is left over becomes "…", except a number at the end ("n = 17"), which always stays.
    """
    lines = [""]
    for word in text.split(" "):
        for piece in _pieces(word, width, size, bold):
            longer = f"{lines[-1]} {piece}".strip()
            if lines[-1] and width_of(longer, size, bold=bold) > width:
                lines.append(piece)
            else:
                lines[-1] = longer
    return drawable("\n".join(lines if len(lines) <= most else _shortened(lines, most, width, size, bold)))


def _shortened(lines: list[str], most: int, width: float, size: float, bold: bool) -> list[str]:
    last = lines[-1].split(" ")[-1]
    number = [last] if _NUMBER.fullmatch(last) and most > 1 else []
    kept = lines[: most - len(number)]
    end = kept[-1].rstrip(" ,")
    while end and width_of(f"{end}…", size, bold=bold) > width:
        end = end[:-1]
    return [*kept[:-1], f"{end}…", *number]
