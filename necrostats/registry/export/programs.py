"""Names of programs, which programs write into the properties of the workbooks they save."""

from __future__ import annotations

import re

_PROGRAMS = """
excel openpyxl xlsxwriter libreoffice openoffice calc sheets sheetjs poi numbers gnumeric planmaker wps writexl
openxlsx exceljs epplus closedxml onlyoffice softmaker aspose pandas
"""
_WORDS_BESIDE = """
microsoft google apache macintosh office online compatible project build linux windows macosx macos org for
spreadsheets x arm cells
"""
_NAMES = frozenset(_PROGRAMS.split())
_BESIDE = frozenset(_WORDS_BESIDE.split())
_TOKEN = re.compile(r"[^\W_]+(?:\.[^\W_]+)*")
_PART = r"(?!(?:19|20)\d\d(?!\d))\d{1,6}"
_VERSION = re.compile(rf"x?\d{{1,4}}|{_PART}(?:\.{_PART}){{1,4}}|aarch64")
_MOST_NUMBERS = 3
_HASH = re.compile("[0-9a-f]{40}")


def is_program(text: str) -> bool:
    """Whether a text is the name of a spreadsheet program, its version and what it runs on, and nothing else."""
    tokens = [token.casefold() for token in _TOKEN.findall(text)]
    if _NAMES.isdisjoint(tokens) or sum(map(str.isdecimal, tokens)) > _MOST_NUMBERS:
        return False
    hashed = "libreoffice" in tokens
    return all(
        token in _NAMES or token in _BESIDE or _VERSION.fullmatch(token) or (hashed and _HASH.fullmatch(token))
        for token in tokens
    )  # fmt: skip
