"""The small words of one unit, under [words] in its layout, put into plain English before a cell is read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from necrostats.registry.export.cells import RawCell
from necrostats.registry.export.readings import Reading
from necrostats.registry.text import folded

WHOLE = {"unknown": "n/a", "no_event": "nil", "elsewhere": "as before", "text_kept": "see report"}
INSIDE = {
    "negation": "no",
    "perhaps": "possible",
    "about": "~",
    "above": ">",
    "below": "<",
    "to": "to",
    "between": "between",
    "and": "and",
    "then": "then",
    "with": "with",
    "out": "out",
    "in": "in",
}


@dataclass(frozen=True, kw_only=True)
class OwnWords:
    """`whole`: folded cell → what it stands for; `inside`: folded word or phrase → what it stands for."""

    whole: Mapping[str, str] = field(default_factory=dict)
    inside: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, lists: Mapping[str, tuple[str, ...]]) -> OwnWords:
        """From the lists of a layout: the name of a list → its words."""
        spread = {folded(word): name for name, words in lists.items() for word in words}
        return cls(
            whole={word: WHOLE[name] for word, name in spread.items() if name in WHOLE},
            inside={word: INSIDE[name] for word, name in spread.items() if name in INSIDE},
        )

    def plain(self, cell: RawCell, *, dated: bool = False) -> RawCell:
        """The cell in plain words; of a date, only what stands for the whole of it."""
        if cell.value is not None or not (self.whole or self.inside):
            return cell
        key = folded(cell.text)
        if key in self.whole:
            return cell._replace(text=self.whole[key])
        if dated or not self.inside:
            return cell
        text = self._pattern.sub(lambda found: self.inside[folded(found[0])], cell.text)
        return cell._replace(text=text) if text != cell.text else cell

    @property
    def _pattern(self) -> re.Pattern[str]:
        longest_first = sorted(self.inside, key=len, reverse=True)
        return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest_first))})(?!\w)", re.IGNORECASE)


def as_written(reading: Reading, cell: RawCell) -> Reading:
    """The reading with the cell itself where the text of it is kept."""
    if "yield_as_written" not in reading.fills:
        return reading
    return replace(reading, fills={**reading.fills, "yield_as_written": cell.text.strip()})
