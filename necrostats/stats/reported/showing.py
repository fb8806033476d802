"""The verdicts on printed figures as a plain accessible table."""

from __future__ import annotations

import html
from collections.abc import Iterable

from necrostats.stats.reported.judging import ReportedItem

NOTHING = "No figure was given to check: add percent=, ratio=, interval=, difference= or p=, as printed."
CAPTION = "Printed figures held against their counts. One that does not fit may be a slip in it or in the counts."
HEADS = ("Figure", "As printed", "Verdict", "Why")


def check_table(items: Iterable[ReportedItem]) -> str:
    """A row for each figure: its name, its text, the verdict and the sentence; HTML without style or script."""
    listed = list(items)
    if not listed:
        return f"<p>{html.escape(NOTHING)}</p>"
    head = "".join(f'<th scope="col">{name}</th>' for name in HEADS)
    rows = "".join(_row(each) for each in listed)
    return f"<table><caption>{CAPTION}</caption><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _row(item: ReportedItem) -> str:
    cells = (item.printed, item.verdict, item.sentence)
    name = f'<th scope="row">{html.escape(item.item)}</th>'
    return f"<tr>{name}{''.join(f'<td>{html.escape(cell)}</td>' for cell in cells)}</tr>"
