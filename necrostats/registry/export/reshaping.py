"""From an export and its layout to made tables: a row a session, every day counted from the index drainage."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pandas as pd

from necrostats.registry.codebook import DRAINAGES, NECROSECTOMIES
from necrostats.registry.export.assembling import CHILDREN, Block, assembled, blocks_of, conflict
from necrostats.registry.export.cells import first_rows
from necrostats.registry.export.drafting import filled, without_index
from necrostats.registry.export.last_contacts import with_one_contact
from necrostats.registry.export.layout import Layout, RowsLayout
from necrostats.registry.export.linking import (
    INDEX_DATE,
    NOTHING_BEFORE,
    grouped,
    hidden_quarters,
    index_of,
    linked,
    timed,
    with_collections,
)
from necrostats.registry.export.log_rows import parted
from necrostats.registry.export.mapped_sheets import Laid, LaidSheet
from necrostats.registry.export.patients import People, RowsAside, people_of, rows_aside
from necrostats.registry.export.stent_ends import enders, placed_days, with_ends
from necrostats.registry.export.table_drafts import NO_MAKER, NOWHERE, Days, Made, Making, Mark, Texts, joined


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Stretch:
    """Rows of each sheet: from `first` (S,) to `end` (S,), excluded."""

    first: np.ndarray
    end: np.ndarray

    def rows_of(self, sheet: int) -> tuple[int, int]:
        """The first row of a sheet, and the one after the last."""
        return int(self.first[sheet]), int(self.end[sheet])


def everything(sheets: Sequence[LaidSheet]) -> Stretch:
    """All rows of all sheets."""
    ends = np.array([len(sheet) for sheet in sheets], dtype=np.int64)
    return Stretch(first=np.zeros_like(ends), end=ends)


def stretches_of(sheets: Sequence[LaidSheet], people: People, about: int) -> tuple[Stretch, ...]:
    """Stretches of about so many rows in which no patient is cut; one, where the rows of a patient are scattered.

    A row that is nobody's goes with the row above it.
    """
    whole = everything(sheets)
    if whole.end.sum() <= about:
        return (whole,)
    owners = [np.maximum.accumulate(np.append(0, person))[1:] for person in people.of]
    if any((person[person >= 0] != owner[person >= 0]).any() for person, owner in zip(people.of, owners, strict=True)):
        return (whole,)
    rows = np.cumsum(sum(np.bincount(owner, minlength=len(people.ids)) for owner in owners))
    beginning = np.searchsorted(rows, np.arange(about, rows[-1], about), side="right")
    edges = np.array([[np.searchsorted(owner, person) for owner in owners] for person in np.unique(beginning)])
    edges = np.vstack([whole.first, edges.reshape(-1, len(sheets)), whole.end])
    return tuple(Stretch(first=first, end=end) for first, end in pairwise(edges) if (first < end).any())


SAME_ROW = "DUPLICATE_ID"
_BEYOND = 1 << 23


def merged(made: Made, group: np.ndarray, never: Sequence[str] = ()) -> Made:
    """The rows of each group (N,) as one, in the order of the first of each; what is blank in one is filled by another.

    Where two rows differ in a column, neither counts, and both are said; columns in `never` keep the first.
    """
    _, first, to = np.unique(group, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    to = place[to]
    out = _frame_of(made, to, first[order])
    for name in made.texts:
        out = _merge_texts(out, made, name, to, keep_first=name in never)
    for name in made.days:
        out = _merge_days(out, made, name, to)
    for name in [each for each in made.origins if each not in made.texts and each not in made.days]:
        held = _held(made, name)
        out = _take_origin(out, made, name, to, held)
    return out


def _frame_of(made: Made, to: np.ndarray, first: np.ndarray) -> Made:
    out = replace(made, texts={}, days={}, origins={}, marks=()).take(first)
    return replace(out, marks=tuple(mark.moved(to) for mark in made.marks))


def _held(made: Made, name: str) -> np.ndarray:
    """Rows that have something to tell of a column; all that come from a cell, if it gives no value itself."""
    return np.flatnonzero(made.origin(name).column != NOWHERE)


def _take_origin(out: Made, made: Made, name: str, to: np.ndarray, held: np.ndarray) -> Made:
    place, which = np.unique(to[held], return_index=True)
    origin = out.origin(name).put(place, made.origin(name).take(held[which]))
    return replace(out, origins={**out.origins, name: origin})


def _merge_texts(out: Made, made: Made, name: str, to: np.ndarray, *, keep_first: bool) -> Made:
    texts = made.text(name)
    held = np.flatnonzero(texts.filled)
    out = _take_origin(out, made, name, to, _held(made, name)) if name in made.origins else out
    place, which = np.unique(to[held], return_index=True)
    out = out.with_text(name, place, texts.take(held[which]))
    if name in made.origins:
        out = _take_origin(out, made, name, to, held)
    differ = _differing(texts.which[held], to[held])
    return out if keep_first else _conflicting(out, made, name, to, held[differ])


def _merge_days(out: Made, made: Made, name: str, to: np.ndarray) -> Made:
    days = made.day(name)
    held = np.flatnonzero(days.known)
    place, which = np.unique(to[held], return_index=True)
    unknown = Days.unknown(len(out))
    unknown.first[place], unknown.last[place] = days.first[held[which]], days.last[held[which]]
    out = replace(out, days={**out.days, name: unknown})
    out = _take_origin(out, made, name, to, _held(made, name))
    out = _take_origin(out, made, name, to, held)
    differ = _differing(days.first[held] * _BEYOND + days.last[held], to[held])
    out = _conflicting(out, made, name, to, held[differ])
    out.days[name].first[to[held[differ]]] = np.nan
    out.days[name].last[to[held[differ]]] = np.nan
    return out


def _differing(values: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Rows in a group whose values are not all the same."""
    groups = group.max(initial=-1) + 1
    first = first_rows(group, groups)
    mixed = np.zeros(groups, dtype=bool)
    mixed[group[values != values[first[group]]]] = True
    return np.flatnonzero(mixed[group])


def _conflicting(out: Made, made: Made, name: str, to: np.ndarray, rows: np.ndarray) -> Made:
    """Marks rows that differ: of one group of rows in the layout, the whole row goes; of two, the cell."""
    if not len(rows):
        return out
    makers = pd.Series(made.maker[rows]).groupby(to[rows])
    twice = (makers.transform("nunique") < makers.transform("size")).to_numpy()
    origin = made.origin(name)
    cells, whole = rows[~twice], rows[twice]
    marks = [conflict(name, to[cells], origin.take(cells)), _same_key(name, to[whole], origin.take(whole))]
    out = out.with_text(name, to[cells], "") if name in out.texts else out
    return out.with_marks(*marks)


def _same_key(name: str, at: np.ndarray, origin) -> Mark:
    return Mark(
        rule=SAME_ROW,
        at=at,
        column=name,
        severity="stops",
        takes="row",
        origin=origin,
        problem=f"gives another {name} than a second row of the same patient, so the patient is set aside",
        remedy="Give each patient one row, or correct the key if they are two.",
    )


def one_row_a_patient(making: Making, makers: Sequence[RowsLayout]) -> Making:
    """The patients, a row for each one that the main sheets know, in the order of their numbers."""
    patients = with_one_contact(making.tables["patients"], makers)
    order = np.lexsort((np.arange(len(patients)), patients.maker, patients.person))
    return making.with_tables(patients=merged(patients.take(order), patients.person[order]))


def same_day(making: Making, merging: np.ndarray, on_day_0: np.ndarray) -> Making:
    """Sessions (mask (N,) `merging`) on day 0 joined with the index drainage of their patient, where there is one.

    A drainage that is there only because its date stands with the patient gives way to one with a row of its own.
    """
    sessions = making.tables["sessions"]
    implied = sessions.maker == NO_MAKER
    drains = np.flatnonzero(sessions.text("session_type").among(DRAINAGES) & on_day_0)
    drains = drains[np.argsort(implied[drains], kind="stable")]
    home = pd.Series(drains, index=sessions.person[drains])
    home = home[~home.index.duplicated()]
    group = np.arange(len(sessions))
    joining = (merging | implied) & on_day_0 & np.isin(sessions.person, home.index)
    group[joining] = home.reindex(sessions.person[joining]).to_numpy(dtype=np.int64)
    joining &= group != np.arange(len(sessions))
    if not joining.any():
        return making
    numbered = np.flatnonzero(joining & (sessions.number > 0) & ~sessions.text("session").filled)
    named = sessions.with_text("session", numbered, Texts.of(sessions.number[numbered].astype(str)))
    joined = merged(named, group, never=("session_type", "session"))
    place = np.unique(group, return_inverse=True)[1]
    first = np.unique(group, return_index=True)[1]
    to = np.argsort(np.argsort(first, kind="stable"))[place]
    cut = joining & sessions.text("session_type").among(NECROSECTOMIES)
    joined = joined.with_text("session_type", np.unique(to[cut]), "drainage_and_necrosectomy")
    children = {
        name: replace(
            making.tables[name],
            parent=np.where(making.tables[name].parent >= 0, to[making.tables[name].parent], NOWHERE),
        )
        for name in CHILDREN.values()
    }
    return making.with_tables(sessions=joined, **children)


def ends_with_their_stents(making: Making, makers: Sequence[RowsLayout]) -> Making:
    """An end that stands with the patient, with neither kind nor day of a stent, goes to the patient's first stent.

    First is the one placed first; of several on one day the lumen-apposing one, through which the others lie.
    """
    stents = making.tables["stents"]
    typed = stents.text("stent_type").filled
    loose = ~typed & ~stents.text("placed_day").filled & (stents.parent == NOWHERE)
    loose &= stents.text("removed_day").filled | stents.text("end_reason").filled
    loose &= ~enders(stents, makers)
    if not loose.any():
        return making
    stents = stents.take(np.argsort(loose, kind="stable"))
    loose, homes = np.sort(loose), np.flatnonzero(~np.sort(loose))
    later = ~stents.text("stent_type").among(["lumen_apposing"])
    placed = np.nan_to_num(placed_days(stents, making.tables["sessions"]), nan=np.inf)
    homes = homes[np.lexsort((later[homes], placed[homes]))]
    first = pd.Series(homes, index=stents.person[homes])
    first = first[~first.index.duplicated()]
    group = np.arange(len(stents))
    found = loose & np.isin(stents.person, first.index)
    group[found] = first.reindex(stents.person[found]).to_numpy(dtype=np.int64)
    return making.with_tables(stents=merged(stents, group))


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
    laid = parted(laid)
    people = people_of(laid.sheets, laid.layout)
    aside = rows_aside(laid.sheets, people)
    return Material(laid=laid, people=people, aside=tuple(aside), blocks=tuple(blocks_of(laid.sheets)))


def reshaped(material: Material, stretch: Stretch, before: Mapping[str, int] = NOTHING_BEFORE) -> Reshaped:
    """The rows of a stretch made into rows of the nine tables; `before` counts the rows made of earlier stretches."""
    layout, people = material.laid.layout, material.people
    makers = list({id(block.rows): block.rows for block in material.blocks}.values())
    blocks = tuple(block.between(*stretch.rows_of(block.sheet.number)) for block in material.blocks)
    making = one_row_a_patient(assembled(blocks, _usable(material), people), makers)
    making = _with_index_sessions(making, layout)
    day_0 = np.full(len(people.ids), np.nan)
    if any(rows.index or rows.holds(INDEX_DATE) for rows in makers):
        index = index_of(making, makers)
        making = timed(making, index, layout)
        making, day_0 = without_index(making, index), index.day
    merging = np.isin(making.tables["sessions"].maker, [n for n, rows in enumerate(makers) if rows.merge_same_day])
    making = ends_with_their_stents(same_day(making, merging, _on_day_0(making)), makers)
    making = with_ends(making, makers)
    making = linked(grouped(with_collections(making, layout)), layout, makers, before)
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
