"""Damage to the bytes of a workbook, of csv files and of a layout."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable

import numpy as np

SHEET = "xl/worksheets/sheet1.xml"
XML_TRICKS = (
    (rb"<sheetData>", b"<!-- \x01 --><sheetData>"),
    (rb"<v>[^<]*</v>", b"<v>1e999</v>"),
    (rb"<v>[^<]*</v>", b"<v>nan</v>"),
    (rb"<v>[^<]*</v>", b"<v>99999999</v>"),
    (rb' t="s"', b' t="zz"'),
    (rb' t="s"', b""),
    (rb' s="\d+"', b' s="9999"'),
    (rb' r="[A-Z]+\d+"', b' r="ZZZZ1"'),
    (rb' r="[A-Z]+\d+"', b' r="A99999999999"'),
    (rb' r="[A-Z]+\d+"', b' r=""'),
    (rb'<row r="\d+"', b'<row r="99999999999"'),
    (rb'<row r="\d+"', b'<row r="-1"'),
    (rb'<row r="\d+"', b'<row r="x"'),
    (rb"</row>", b""),
    (rb"<dimension [^>]*>", b'<dimension ref="A1:XFD1048576"/>'),
    (rb"<mergeCell ref=\"[^\"]*\"", b'<mergeCell ref="A1:XFD1048576"'),
    (rb"<mergeCell ref=\"[^\"]*\"", b'<mergeCell ref="B9:A1"'),
    (rb"<\?xml[^>]*\?>", b'<?xml version="1.0" encoding="utf-16"?>'),
    (rb"<\?xml[^>]*\?>", b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>'),
    (rb"<f>[^<]*</f>", b"<f>" + b"(" * 500 + b"</f>"),
    (rb"<c ", b"<c \xff\xfe "),
)
STRINGS = (
    '""',
    '"\u202e"',
    '"' + "x" * 3_000 + '"',
    '"patient_id"',
    '"day"',
    '"Date"',
    '"DEN"',
    '"DEN{n}{n}"',
    '"{n}"',
    "[]",
    "7",
    "true",
    "{}",
)
NUMBERS = (
    "0",
    "-1",
    "99999999",
    "1.5",
    "1e400",
    "[0]",
    "[3, 2]",
    "[1, 1048577]",
    '"1-99999999"',
    '"7-1"',
    "9999-12-31",
    "0001-01-01",
    "nan",
)


def _pick(rng: np.random.Generator, choices):
    return choices[int(rng.integers(len(choices)))]


def truncated(rng: np.random.Generator, content: bytes) -> bytes:
    """The end cut off."""
    return content[: int(rng.integers(0, len(content)))]


def flipped(rng: np.random.Generator, content: bytes) -> bytes:
    """Some bytes changed."""
    changed = bytearray(content)
    for at in rng.integers(0, max(len(content), 1), int(rng.integers(1, 20))):
        if changed:
            changed[int(at)] = int(rng.integers(256))
    return bytes(changed)


def mislabelled(rng: np.random.Generator, content: bytes) -> bytes:
    """Something else under that name: empty, text, an old or locked workbook."""
    return _pick(
        rng,
        (
            b"",
            b"PK",
            b"hello",
            bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600),
            b"%PDF-1.7",
            content[100:],
            b"\x00" * 50,
        ),
    )


def _with_members(content: bytes, change: Callable[[dict[str, bytes]], dict[str, bytes]]) -> bytes:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in change(members).items():
            archive.writestr(zipfile.ZipInfo(name), body)
    return buffer.getvalue()


def member_lost(rng: np.random.Generator, content: bytes) -> bytes:
    """A part of the workbook missing, or filled with another."""

    def change(members: dict[str, bytes]) -> dict[str, bytes]:
        name = _pick(rng, sorted(members))
        if rng.random() < 0.5:
            return {each: body for each, body in members.items() if each != name}
        return {**members, name: members[_pick(rng, sorted(members))]}

    return _with_members(content, change)


def xml_broken(rng: np.random.Generator, content: bytes) -> bytes:
    """The XML of a sheet, or of the texts, with something in it that does not belong there."""

    def change(members: dict[str, bytes]) -> dict[str, bytes]:
        name = SHEET if rng.random() < 0.7 else _pick(rng, sorted(members))
        pattern, text = _pick(rng, XML_TRICKS)
        places = [found.span() for found in re.finditer(pattern, members[name])]
        if not places:
            return {**members, name: truncated(rng, members[name])}
        start, end = _pick(rng, places)
        return {**members, name: members[name][:start] + text + members[name][end:]}

    return _with_members(content, change)


BOOK_DAMAGE = (truncated, flipped, mislabelled, member_lost, xml_broken, xml_broken, xml_broken)


def encoded(rng: np.random.Generator, content: bytes) -> bytes:
    """The same text in another encoding, or half of it."""
    text = content.decode("utf-8", "replace")
    half = len(text) // 2
    return _pick(
        rng,
        (
            text.encode("utf-16"),
            text.encode("cp1252", "replace"),
            text.encode("utf-32"),
            b"\xef\xbb\xbf" + content,
            content.replace(b"e", b"\xe9"),
            content[:300] + b"\x00\x00" + content[300:],
            text[:half].encode() + text[half:].encode("utf-16-le"),
        ),
    )


def separators(rng: np.random.Generator, content: bytes) -> bytes:
    """Other separators, quotation marks that never close, ragged lines, other ends of lines."""
    lines = content.split(b"\n")
    at = int(rng.integers(len(lines)))
    spoilt = [
        *lines[:at],
        _pick(rng, (lines[at] + b",,,,x", lines[at][:5], b'"' + lines[at], lines[at] + b'"', b"", b",")),
        *lines[at + 1 :],
    ]
    ends = _pick(rng, (b"\n", b"\r\n", b"\r", b"\n\n"))
    return _pick(
        rng,
        (ends.join(spoilt), content.replace(b",", b";"), content.replace(b",", b"\t"), content.replace(b'"', b"")),
    )


def long_field(rng: np.random.Generator, content: bytes) -> bytes:
    """A field longer than any should be."""
    lines = content.split(b"\n")
    at = int(rng.integers(len(lines)))
    return b"\n".join([*lines[:at], b"9" * int(rng.integers(40_000, 300_000)) + lines[at], *lines[at:]])


CSV_DAMAGE = (truncated, flipped, encoded, encoded, separators, separators, long_field)


def line_changed(rng: np.random.Generator, content: bytes) -> bytes:
    """A line of the layout gone, doubled, moved, or turned into a remark."""
    lines = content.split(b"\n")
    first, second = int(rng.integers(len(lines))), int(rng.integers(len(lines)))
    line = lines[first]
    rest = [*lines[:first], *lines[first + 1 :]]
    return b"\n".join(
        _pick(
            rng,
            (
                rest,
                [*lines[:first], line, *lines[first:]],
                [*rest[:second], line, *rest[second:]],
                [*lines[:first], b"# " + line, *lines[first + 1 :]],
            ),
        )
    )


def word_changed(rng: np.random.Generator, content: bytes) -> bytes:
    """A text or a number of the layout replaced by another, or by what cannot be one."""
    text = content.decode("utf-8", "replace")
    pattern, choices = _pick(
        rng, ((r'"[^"\n]*"', STRINGS), (r"(?<== )[\[\d][^\n,]*", NUMBERS), (r"(?<== )\S+$", (*STRINGS, *NUMBERS)))
    )
    places = [found.span() for found in re.finditer(pattern, text, re.MULTILINE)]
    words = [text[start:end] for start, end in places]
    if not places:
        return content[:-1]
    start, end = _pick(rng, places)
    return (text[:start] + _pick(rng, (*choices, _pick(rng, words))) + text[end:]).encode("utf-8", "replace")


LAYOUT_DAMAGE = (*(line_changed,) * 8, *(word_changed,) * 4, encoded, truncated, flipped)
