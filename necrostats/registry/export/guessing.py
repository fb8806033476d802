"""What headings and contents of an export suggest; every answer here is a guess, for a person to look at."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from necrostats.registry.days import read_date
from necrostats.registry.export.cells import Grid, RawCell, RawColumn
from necrostats.registry.export.laying import headings
from necrostats.registry.export.names import folded

_LOOKED_AT = 12
_NUMBERED = re.compile(r"(.*?)([0-9]{1,2})(?![0-9+])(.*)", re.DOTALL)
_BEYOND = re.compile(r".*[0-9]{1,2}\s*(?:\+|and more|onwards)\s*.*", re.DOTALL)
_WORDS: dict[str, tuple[tuple[str, str], ...]] = {
    "patients": (
        (r"index|index.*(date|drain).*|date.*drain.*|drainage date", "index_date"), (r"age", "age_years"),
        (r"sex|gender", "sex"),
        (r"a?etiolog.*|cause of pancreatitis", "aetiology"), (r"onset.*", "onset_day"),
        (r".*severity.*|.*atlanta.*", "atlanta_severity"), (r".*organ failure.*|of", "organ_failure"),
        (r"infect.*", "infection"), (r"asa.*", "asa_class"), (r".*charlson.*|comorbid.*", "comorbidity_index"),
        (r"nutrition.*", "nutrition"), (r"antithrombotic.*|anticoag.*", "antithrombotic"), (r".*duct.*", "duct"),
        (r"last (seen|contact|follow).*", "last_contact_day"), (r"(date of )?death( date)?|died( on)?", "death_day"),
        (r"cause( of death)?", "death_cause"), (r"(vital )?status|alive.*", "vital_status"),
    ),
    "collections": (
        (r"collections?|won.*|sites?", "collections"), (r"(max(imum)? )?(size|axes|dimensions).*", "size"),
        (r".*solid.*", "solid_percent"), (r".*quadrants.*", "quadrants"),
    ),
    "stents": ((r".*(placed|stent in|lams in).*", "placed_day"), (r".*(removed|stent out|lams out).*", "removed_day")),
    "sessions": (
        (r".*date.*", "day"), (r".*(tool|instrument|device).*", "instruments"), (r".*yield.*|.*removed.*", "yield"),
        (r".*(compl|event|ae).*", "event"), (r".*texture.*", "texture"), (r".*(operator|endoscopist).*", "operator"),
        (r".*(min|duration).*", "minutes_total"), (r".*passes.*", "passes"), (r".*(type|procedure).*", "session_type"),
    ),
    "scans": (
        (r".*date.*", "day"), (r".*(modality|type).*", "modality"), (r".*(size|axes).*", "size"),
        (r".*(where|site|collection).*", "collection"), (r".*volume.*", "volume_ml"),
    ),
    "reviews": (
        (r".*date.*", "day"), (r".*symptom.*", "symptom_free"), (r".*fever.*", "fever"),
        (r".*(diet|eating).*", "oral_diet"),
    ),
    "adverse_events": (
        (r".*date.*", "day"), (r".*(what|type|event|complication).*", "event_type"), (r".*agree.*", "agree_grade"),
        (r".*clavien.*", "clavien_grade"), (r".*treat.*", "treatment"), (r".*(session|den).*", "session"),
    ),
    "other_interventions": (
        (r".*date.*", "day"), (r".*(what|kind|procedure|type).*", "kind"), (r".*(why|reason).*", "reason"),
    ),
}  # fmt: skip
_SHEETS = (
    (r".*(death|mortality|died).*", "patients"), (r".*(scan|imaging|ct|radiology).*", "scans"),
    (r".*(complication|adverse|event).*", "adverse_events"), (r".*(clinic|review|follow).*", "reviews"),
    (r".*(surgery|interventions?|drains?).*", "other_interventions"), (r".*(session|procedure|scope).*", "sessions"),
)  # fmt: skip
_KEYS = r"(study|patient|pt|case)?[ _]*(no|nr|number|id|code|#)\.?|study.*|pat(ient)?|pt"


@dataclass(frozen=True, kw_only=True)
class Group:
    """Headings that differ only in a number: their numbers, and the heading with {n} → the heading as written."""

    prefix: str
    numbers: tuple[int, ...]
    headings: tuple[str, ...]


def header_rows_of(grid: Grid) -> tuple[int, ...]:
    """The row among the first that holds the most short texts, with the row above it if that has merged headings."""
    counted = Counter()
    for position in range(min(_LOOKED_AT, len(grid.rows))):
        cells = [column.cells[column.which[position]] for column in grid.columns]
        counted[int(grid.rows[position])] = sum(map(_like_a_heading, cells))
    row = max(counted, key=lambda number: (counted[number], -number), default=1)
    merged = any(first == row - 1 and last > start for first, start, _, last in grid.merges)
    return (row - 1, row) if merged else (row,)


def _like_a_heading(cell: RawCell) -> bool:
    text = cell.text.strip()
    return cell.value is None and 0 < len(text) <= 40 and not text.isdecimal()


def table_of(grid: Grid, *, first: bool) -> str:
    """The table that a sheet's name suggests; patients for the first sheet, or none."""
    name = folded(grid.name)
    found = next((table for pattern, table in _SHEETS if re.fullmatch(pattern, name)), "")
    return found or ("patients" if first else "")


def key_of(shown: list[str]) -> str:
    """The heading that most looks like a study code; blank if none does."""
    return next((heading for heading in shown if re.fullmatch(_KEYS, folded(heading))), "")


def target_of(heading: str, table: str) -> str:
    """The target that a heading suggests in a table; blank if none does."""
    name = re.sub(r"\s*\([^)]*\)", "", folded(heading)).strip(" ?.:")
    return next((target for pattern, target in _WORDS[table] if re.fullmatch(pattern, name)), "")


def unit_in(heading: str) -> str:
    """The unit that stands in brackets in a heading."""
    found = re.search(r"\(\s*(mm|cm|ml|cc|l|g|min)\s*\)", folded(heading))
    return found[1] if found else ""


def groups_of(shown: list[str]) -> list[Group]:
    """Headings with running numbers, at least two of a kind, by what stands before the number."""
    kinds: dict[tuple[str, str], list[tuple[int, str]]] = {}
    for heading in shown:
        if (found := _NUMBERED.fullmatch(heading)) and not _BEYOND.fullmatch(heading):
            kinds.setdefault((found[1], found[3]), []).append((int(found[2]), heading))
    by_prefix: dict[str, list[tuple[str, list[int]]]] = {}
    for (prefix, suffix), found in kinds.items():
        if len(found) > 1:
            by_prefix.setdefault(prefix, []).append((f"{prefix}{{n}}{suffix}", sorted(number for number, _ in found)))
    return [_group(prefix, forms) for prefix, forms in by_prefix.items()]


def _group(prefix: str, forms: list[tuple[str, list[int]]]) -> Group:
    """The forms that have the numbers of the first of them."""
    numbers = forms[0][1]
    return Group(
        prefix=prefix, numbers=tuple(numbers), headings=tuple(form for form, own in forms if own == numbers)
    )  # fmt: skip


def beyond(shown: list[str], prefix: str) -> str:
    """The heading of the column with the rest of a group: "DEN8+"."""
    return next((each for each in shown if each.startswith(prefix.strip()) and _BEYOND.fullmatch(each)), "")


def order_of(grid: Grid) -> set[str]:
    """The orders of day and month that dates typed as text have where only one order fits."""
    found = set()
    for column in grid.columns:
        for cell in column.cells:
            if cell.value is None and re.match(r"\s*[0-9]{1,2}[/.-][0-9]{1,2}[/.-][0-9]{2,4}", cell.text):
                fits = {order: read_date(cell.text, day_first=order == "day_first").known for order in _ORDERS}
                found |= {order for order in _ORDERS if fits[order]} if sum(fits.values()) == 1 else set()
    return found


_ORDERS = ("day_first", "month_first")


def looks_dated(column: RawColumn, below: np.ndarray) -> bool:
    """Whether at least half of the cells that hold anything read as dates."""
    cells = [column.cells[which] for which in column.which[below] if column.cells[which].text.strip()]
    read = [read_date(cell.typed, day_first=True, shown_as=cell.shown_as).known for cell in cells[:200]]
    return bool(read) and sum(read) * 2 >= len(read)


def columns_of(grid: Grid, header_rows: tuple[int, ...]) -> Iterator[tuple[str, RawColumn]]:
    """Each heading, as a layout has to write it, with its column."""
    seen: Counter[str] = Counter()
    for column, heading in zip(grid.columns, headings(grid, header_rows), strict=True):
        shown = heading or f"({column.letters})"
        seen[folded(shown)] += 1
        yield (shown if seen[folded(shown)] == 1 else f"{shown}#{seen[folded(shown)]}"), column
