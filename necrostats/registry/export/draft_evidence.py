"""What speaks for a line of a proposed layout, and what stands beside it and may say otherwise: it is left open."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from necrostats.registry.export.cells import RawColumn
from necrostats.registry.export.heading_guesses import filled_cells, likeness
from necrostats.registry.text import folded

_NECROSECTOMY = re.compile(r"ne[ck]rose[ck]t|debrid|(?<![a-z])(?:den|nec|nek|necros?)(?![a-z])")
_FEWEST_CODES, _LONGEST_CODE, _SHOWN = 2, 24, 3
KINDS, ANSWERS = 8, 4
"""How many different cells a column of kinds, and one of answers, has at most."""


def says_necrosectomy(texts: Iterable[str]) -> bool:
    """Whether a name or a heading says that sessions are necrosectomies."""
    return any(_NECROSECTOMY.search(folded(text)) for text in texts)


def coded(columns: Mapping[str, RawColumn], headings: Iterable[str], most: int, listed: Sequence[str]) -> Iterator[str]:
    """Of some headings those over a few short texts that come again and again, and that may be codes; first those like
    what is `listed`."""
    for heading in sorted(headings, key=lambda each: -likeness(each, listed)):
        column = columns[heading]
        texts = {folded(cell.text) for cell in filled_cells(column)}
        again = int(column.filled().sum()) > len(texts)
        if _FEWEST_CODES <= len(texts) <= most and again and all(len(text) <= _LONGEST_CODE for text in texts):
            yield heading


def may_say(headings: Iterable[str]) -> str:
    """The columns that may say what is left open, for the end of a line."""
    listed = [f'"{heading}"' for heading in headings]
    more = " …" if len(listed) > _SHOWN else ""
    return f"; {', '.join(listed[:_SHOWN])}{more} may say it" if listed else ""
