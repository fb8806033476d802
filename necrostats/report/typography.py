"""What the output of notebooks and the page around it share: class names, and what a line break must not part.

A line break parts no number and its sign, no interval and its name, no two ends of a range.
"""

from __future__ import annotations

import re

CAUTIONS = "cautions"
LEAD = "lead"
SCROLL = "scroll"
STATUS = "status"
WHOLE = "whole"

_TIED = "\N{NO-BREAK SPACE}"
_SPACED_PERCENT = re.compile(r"(?<=[0-9]) %( CI\b)?")
_RANGE = re.compile(rf"[0-9][0-9.,]*–[0-9]+(?:[.,][0-9]+)*(?:{_TIED}%)?")


def tied(text: str) -> str:
    """A text in which "62 %" and "95 % CI" stay on one line."""
    return _SPACED_PERCENT.sub(lambda found: found[0].replace(" ", _TIED), text)


def ranges(text: str) -> list[str]:
    """A tied text cut into pieces, every second one a range such as "0.3–5.4" with its per cent sign."""
    pieces, end = [], 0
    for found in _RANGE.finditer(text):
        pieces += [text[end : found.start()], found[0]]
        end = found.end()
    return [*pieces, text[end:]]
