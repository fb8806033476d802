"""Text safe to open in a spreadsheet: what would start a formula gets an apostrophe, and loses it when read again."""

from __future__ import annotations

import re

_STARTS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
MAY_START_A_FORMULA = f"'{_STARTS}"
"""The first characters of every text that `defused` may change."""

_WOULD_START = re.compile(f"'*[{re.escape(_STARTS)}]")
_WAS_DEFUSED = re.compile(f"'+[{re.escape(_STARTS)}]")
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")


def defused(text: str) -> str:
    """The text as it is written to a csv file; plain numbers stay as they are."""
    if text and not text[0].isalnum() and _WOULD_START.match(text) and not _PLAIN_NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def undefused(text: str) -> str:
    """The text that `defused` was given."""
    return text[1:] if text.startswith("'") and _WAS_DEFUSED.match(text) else text
