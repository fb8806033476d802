"""From an export and its layout to made tables: a row a session, every day counted from the index drainage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from necrostats.registry.export.assembling import assembled
from necrostats.registry.export.batches import Stretch
from necrostats.registry.export.blocks import Block, blocks_of
from necrostats.registry.export.defaults import filled
from necrostats.registry.export.drafting import without_index
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.linking import NOTHING_BEFORE, grouped, linked, with_collections
from necrostats.registry.export.mapped_sheets import Laid
from necrostats.registry.export.merging import ends_with_their_stents, one_row_a_patient, same_day
from necrostats.registry.export.patients import People, RowsAside, people_of, rows_aside
from necrostats.registry.export.table_drafts import NO_MAKER, Making, joined
from necrostats.registry.export.texts import Texts
from necrostats.registry.export.timing import INDEX_DATE, hidden_quarters, index_of, timed


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Material:
    """What the tables are made of: who the rows of the sheets are about, the rows set aside before, the cells read."""

    laid: Laid
    people: People
    aside: tuple[RowsAside, ...]
    blocks: tuple[Block, ...]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Reshaped:
    """Made tables of the patients of a stretch, with the blocks that they came from.

    `day_0` (P,) is each patient's index drainage as an ordinal, to be shown nowhere; `key` that of private periods.
    """

    making: Making
    blocks: tuple[Block, ...]
    stretch: Stretch
    day_0: np.ndarray
    key: dict[str, str]


def material_of(laid: Laid) -> Material:
    """Every row that the layout reads, with its patient, and every mapped cell read."""
    people = people_of(laid.sheets, laid.layout)
    aside = rows_aside(laid.sheets, people)
    return Material(laid=laid, people=people, aside=tuple(aside), blocks=tuple(blocks_of(laid.sheets)))


def reshaped(material: Material, stretch: Stretch, before: Mapping[str, int] = NOTHING_BEFORE) -> Reshaped:
    """The rows of a stretch made into rows of the nine tables; `before` counts the rows made of earlier stretches."""
    layout, people = material.laid.layout, material.people
    makers = list({id(block.rows): block.rows for block in material.blocks}.values())
    blocks = tuple(block.between(*stretch.rows_of(block.sheet.number)) for block in material.blocks)
    making = one_row_a_patient(assembled(blocks, _usable(material), people))
    making = _with_index_sessions(making, layout)
    day_0 = np.full(len(people.ids), np.nan)
    if any(rows.index or rows.holds(INDEX_DATE) for rows in makers):
        index = index_of(making, makers)
        making = timed(making, index, layout)
        making, day_0 = without_index(making, index), index.day
    merging = np.isin(making.tables["sessions"].maker, [n for n, rows in enumerate(makers) if rows.merge_same_day])
    making = ends_with_their_stents(same_day(making, merging, _on_day_0(making)))
    making = linked(grouped(with_collections(making, layout)), layout, before)
    making = filled(making, layout)
    making, key = hidden_quarters(making) if layout.sequential else (making, {})
    return Reshaped(making=making, blocks=blocks, stretch=stretch, day_0=day_0, key=key)


def _usable(material: Material) -> dict[int, np.ndarray]:
    usable = {sheet.number: np.ones(len(sheet), dtype=bool) for sheet in material.laid.sheets}
    for each in material.aside:
        usable[each.sheet.number][each.at] = False
    return usable


def _on_day_0(making: Making) -> np.ndarray:
    sessions = making.tables["sessions"]
    return sessions.text("day").among(["0"]) & ~sessions.text("day_latest").filled


def _with_index_sessions(making: Making, layout: Layout) -> Making:
    """A session of type drainage for each index drainage date that stands with the patient."""
    wanted = any(column.to == INDEX_DATE and column.session for _, rows in layout.makers() for column in rows.columns)
    if not wanted or any(rows.index for _, rows in layout.makers()):
        return making
    patients, sessions = making.tables["patients"], making.tables["sessions"]
    rows = np.flatnonzero(patients.day(INDEX_DATE).known)
    made = replace(
        patients, table=sessions.table, texts={}, origins={}, days={}, marks=(), maker=np.full(len(patients), NO_MAKER)
    ).take(rows)
    made = replace(
        made,
        texts={"session_type": Texts.everywhere("drainage", len(rows))},
        days={"day": patients.day(INDEX_DATE).take(rows)},
        origins={"day": patients.origin(INDEX_DATE).take(rows)},
    )
    return making.with_tables(sessions=joined([sessions, made]))
