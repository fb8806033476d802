"""From an export and its layout to made tables: a row a session, every day counted from the index drainage."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from necrostats.registry.export.assembling import assembled
from necrostats.registry.export.blocks import Block, blocks_of
from necrostats.registry.export.drafting import without_index
from necrostats.registry.export.early import RowsAside, rows_aside
from necrostats.registry.export.filling import filled
from necrostats.registry.export.laying import Laid
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.linking import grouped, linked, with_collections
from necrostats.registry.export.made import Making, joined
from necrostats.registry.export.merging import one_row_a_patient, same_day
from necrostats.registry.export.people import People, people_of
from necrostats.registry.export.texts import Texts
from necrostats.registry.export.timing import INDEX_DATE, hidden_quarters, index_of, timed


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Reshaped:
    """Made tables, who the rows are about, the blocks the tables came from, the rows set aside before.

    `day_0` (P,) is each patient's index drainage as an ordinal, to be shown nowhere; `key` that of private periods.
    """

    making: Making
    people: People
    blocks: tuple[Block, ...]
    aside: tuple[RowsAside, ...]
    day_0: np.ndarray
    key: dict[str, str]


def reshaped(laid: Laid) -> Reshaped:
    """Every row of the sheets that the layout reads, made into rows of the nine tables or set aside."""
    layout = laid.layout
    people = people_of(laid.sheets, layout)
    aside = rows_aside(laid.sheets, people)
    blocks = tuple(blocks_of(laid.sheets))
    making = one_row_a_patient(assembled(blocks, _usable(laid, aside), people))
    making = _with_index_sessions(making, layout)
    makers = list({id(block.rows): block.rows for block in blocks}.values())
    day_0 = np.full(len(people.ids), np.nan)
    if any(rows.index or rows.holds(INDEX_DATE) for rows in makers):
        index = index_of(making, makers)
        making = timed(making, index, layout)
        making, day_0 = without_index(making, index), index.day
    merging = np.isin(making.tables["sessions"].maker, [n for n, rows in enumerate(makers) if rows.merge_same_day])
    making = same_day(making, merging, _on_day_0(making))
    making = linked(grouped(with_collections(making, layout)), layout)
    making = filled(making, layout)
    making, key = hidden_quarters(making) if layout.sequential else (making, {})
    return Reshaped(making=making, people=people, blocks=blocks, aside=tuple(aside), day_0=day_0, key=key)


def _usable(laid: Laid, aside: list[RowsAside]) -> dict[int, np.ndarray]:
    usable = {sheet.number: np.ones(len(sheet), dtype=bool) for sheet in laid.sheets}
    for each in aside:
        usable[each.sheet.number][each.at] = False
    return usable


def _on_day_0(making: Making) -> np.ndarray:
    sessions = making.tables["sessions"]
    return sessions.text("day").among(["0"]) & ~sessions.text("day_latest").filled


def _with_index_sessions(making: Making, layout: Layout) -> Making:
    """A session of type drainage for each index drainage date that stands with the patient."""
    wanted = any(
        column.to == INDEX_DATE and column.session for _, rows in layout.makers() for column in rows.columns
    )
    if not wanted or any(rows.index for _, rows in layout.makers()):
        return making
    patients, sessions = making.tables["patients"], making.tables["sessions"]
    rows = np.flatnonzero(patients.day(INDEX_DATE).known)
    made = replace(
        patients, table=sessions.table, texts={}, origins={}, days={}, marks=(), maker=np.full(len(patients), -1)
    ).take(rows)
    made = replace(
        made, texts={"session_type": Texts.everywhere("drainage", len(rows))},
        days={"day": patients.day(INDEX_DATE).take(rows)}, origins={"day": patients.origin(INDEX_DATE).take(rows)},
    )  # fmt: skip
    return making.with_tables(sessions=joined([sessions, made]))
