"""An export whose every cell is known: what each became, by the ledger, beside what it must become."""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from necrostats.registry.export.cells import letters_of

KEPT, ASIDE, UNKNOWN, NOT_THERE = "value", "set aside", "unknown", "no line"
_KINDS = "lumen_apposing|double_pigtail|self_expanding_metal|nasocystic|percutaneous"
_TEXT_ALONE = {"yield_as_written"}


@dataclass(frozen=True, kw_only=True)
class Known:
    """One cell: its place, its text, what it must become, and what it became (field → values)."""

    place: tuple[str, str, str]
    heading: str
    written: str
    disposition: str
    wanted: str
    also: str
    outcome: str
    got: dict[str, list[str]]

    @property
    def right(self) -> bool:
        """Whether it became what it must, or what would do as well."""
        if self.disposition in ("value", "ask"):
            return self._says(self.wanted) or (bool(self.also) and self._says(self.also))
        if self.disposition == "unknown":
            return self.outcome != KEPT or set(self.got) <= _TEXT_ALONE
        return self.outcome in (ASIDE, NOT_THERE) or set(self.got) <= _TEXT_ALONE or self._says(self.also)

    @property
    def wrong(self) -> bool:
        """Whether a value was kept that is not the one: worse than none."""
        return self.disposition == "value" and self.outcome == KEPT and not self.right and self._says_another()

    @property
    def lost(self) -> bool:
        """Whether nothing tells what became of a cell that holds a value."""
        return self.disposition in ("value", "ask") and self.outcome == NOT_THERE

    def _says_another(self) -> bool:
        """Whether a field that it must fill holds something else; one that holds nothing says nothing wrong."""
        pairs = [part.split("=", 1) for part in self.wanted.split(";") if "=" in part]
        if not pairs:
            return any(value for name, values in self.got.items() for value in values if name not in _TEXT_ALONE)
        held = ((value, [each for each in self.got.get(name, ()) if each]) for name, value in pairs)
        return any(each and not any(_same(value, one) for one in each) for value, each in held)

    def _says(self, wanted: str) -> bool:
        if self.outcome not in (KEPT, UNKNOWN):
            return "aside" in wanted
        stents = re.findall(_KINDS, wanted)
        if stents and "stent_type" in self.got:
            sizes = [float(size) for size in re.findall(r"([0-9]+) (?:mm|Fr)", wanted)]
            held = [float(size) for name in ("diameter_mm", "caliber_fr") for size in self.got.get(name, ()) if size]
            return self.got.get("stent_type") == stents and sorted(held) == sorted(sizes)
        if "=" not in wanted:
            return self._holds(wanted)
        pairs = (part.split("=", 1) for part in wanted.split(";") if "=" in part)
        return all(not value or any(_same(value, each) for each in self.got.get(name, ())) for name, value in pairs)

    def _holds(self, wanted: str) -> bool:
        """One value, or classes of instruments in order. Operators are pseudonyms; a drainage makes a quarter."""
        if "operator" in self.got or re.fullmatch(r"[0-9]{4}Q[1-4]", wanted):
            return bool(self.got)
        if ";" in wanted:
            return self.got.get("instrument_class") == [each.strip() for each in wanted.split(";")]
        return not wanted or any(_same(wanted, each) for values in self.got.values() for each in values)


def _same(one: str, other: str) -> bool:
    try:
        return abs(float(one) - float(other)) < 1e-6
    except ValueError:
        return _plain(one) == _plain(other)


def _plain(text: str) -> str:
    return re.sub(r"[\s-]", "", text).casefold()


def known_cells(truth: Path, ledger: Path) -> Iterator[Known]:
    """Every cell of a truth that has a place of its own and is not to be ignored, with what a ledger says of it."""
    told, rows = _told(ledger)
    for line in _lines(truth):
        place = (line["file"], line["sheet"], _cell(line["cell"]))
        if not re.fullmatch(r"[A-Z]+[0-9]+", place[2]) or line["disposition"] == "ignored":
            continue
        aside = (*place[:2], re.sub(r"[A-Z]", "", place[2])) in rows
        lines = told.get(place, [])
        yield Known(
            place=place,
            heading=line["heading"],
            written=line["written"],
            disposition=line["disposition"],
            wanted=line["value"],
            also=line["also"],
            outcome=_outcome(lines) if lines else ASIDE if aside else NOT_THERE,
            got=_got(lines),
        )


def _told(ledger: Path):
    cells, rows = defaultdict(list), set()
    for line in _lines(ledger):
        cells[line["file"], line["sheet"], line["cell"]].append(line)
        if not line["cell"]:
            rows.add((line["file"], line["sheet"], line["row"]))
    return cells, rows


def _lines(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _outcome(lines: list[dict[str, str]]) -> str:
    each = {line["outcome"] for line in lines}
    return next(outcome for outcome in (KEPT, ASIDE, UNKNOWN) if outcome in each)


def _got(lines: list[dict[str, str]]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for line in lines:
        found.setdefault(line["field"], []).append(line["value"])
    return found


def _cell(name: str) -> str:
    found = re.fullmatch(r"([0-9]+),([0-9]+)", name)
    return f"{letters_of(int(found[2]))}{found[1]}" if found else name
