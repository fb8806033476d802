"""A registry from any export with its layout, checked by the same rules as a tidy one."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from necrostats.errors import RegistryError
from necrostats.progress import Step
from necrostats.registry.checking import about_source, checked, interpreted, required_missing
from necrostats.registry.codebook import TABLES
from necrostats.registry.drafts import Draft, frames_of, set_aside_of, source_of
from necrostats.registry.emptied import about_emptied, emptied
from necrostats.registry.export.about import about_export, about_unread, about_withheld, listed_aside, not_mapped
from necrostats.registry.export.assembling import CHILDREN
from necrostats.registry.export.drafting import Places, marked, raw_source
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.layout_reading import read_layout
from necrostats.registry.export.linking import NOTHING_BEFORE
from necrostats.registry.export.mapped_sheets import laid
from necrostats.registry.export.private import Withheld, screened
from necrostats.registry.export.reshaping import Material, Reshaped, Stretch, everything, material_of, reshaped
from necrostats.registry.findings import in_order, no_findings
from necrostats.registry.messages import problem_report
from necrostats.registry.privacy import Suspicion
from necrostats.registry.reading import quietly, read_export
from necrostats.registry.tables import SET_ASIDE_COLUMNS, Registry, Source, link, nothing_set_aside


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Prepared:
    """An export searched for identifiers and laid out, its cells read, nothing made of them yet.

    `to_file`: its findings go into a file, so that those on the screen are told apart.
    """

    name: str
    sha256: str
    material: Material
    dates_shown: bool
    to_file: bool = False
    withheld: tuple[Withheld, ...] = ()
    unread: tuple[Suspicion, ...] = ()

    @property
    def layout(self) -> Layout:
        """The layout it was laid out by."""
        return self.material.laid.layout


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ReadExport:
    """A registry, and how each of its cells came about.

    `on_screen` are the findings of its rows and cells with their dates, for the person at the screen and no file.
    `about_source` are findings about tables and columns that the layout does not give; `unusable`: no registry can do
    without one of them.
    """

    registry: Registry
    on_screen: pd.DataFrame
    material: Material
    reshaped: Reshaped
    draft: Draft
    places: Places
    about_source: tuple[pd.DataFrame, ...]
    unusable: bool


def registry_of_export(source: str | Path, layout: str | Path | Layout, **how) -> Registry:
    """The registry in an export; see `read_with_layout`."""
    return read_with_layout(source, layout, **how).registry


def read_with_layout(
    source: str | Path,
    layout: str | Path | Layout,
    *,
    accepted: Collection[str] = (),
    dates_shown: bool = False,
    say: Callable[[str], None] = quietly,
) -> ReadExport:
    """A workbook, a csv file or a folder of them, read by a layout.

    The privacy check comes first and stops (RegistryError without any value); columns in `accepted` have been
    looked at by a person. Findings show dates only if `dates_shown`. SourceError if the source cannot be read;
    RegistryError, with all `findings`, if layout and export do not fit or no patient is left.
    """
    ready = prepared(source, layout, accepted=accepted, dates_shown=dates_shown, say=say)
    say(stage(CHECKING))
    read = read_stretch(ready, everything(ready.material.laid.sheets))
    set_aside, source = all_set_aside(ready, [read.registry.set_aside]), read.registry.source
    lost = emptied(read.registry.given, source.rows_kept, set_aside)
    findings = all_findings(ready, read.about_source, [read.registry.findings, *about_emptied(lost, ready.name)])
    refuse_unusable(ready, findings, unusable=read.unusable, patients=len(read.registry.patients))
    whole = {"findings": findings, "set_aside": set_aside, "given": read.registry.given - lost, "recorded": None}
    return replace(read, registry=replace(read.registry, **whole))


STAGES = IDENTIFIERS, LAYOUT, CHECKING, WRITING = (
    "looking for identifiers",
    "reading by the layout",
    "checking",
    "writing",
)


def stage(name: str) -> Step:
    """A stage as it begins, and which of how many it is."""
    return Step(name, done=STAGES.index(name), of=len(STAGES), units="stages")


def prepared(
    source: str | Path,
    layout: str | Path | Layout,
    *,
    accepted: Collection[str] = (),
    dates_shown: bool = False,
    to_file: bool = False,
    say: Callable[[str], None] = quietly,
) -> Prepared:
    """An export as far as all of it must be looked at together; raises as `read_with_layout` does."""
    plan = layout if isinstance(layout, Layout) else read_layout(layout)
    export = read_export(source, say=say)
    say(stage(IDENTIFIERS))
    passed = screened(export, plan, accepted)
    say(stage(LAYOUT))
    return Prepared(
        name=export.name,
        sha256=hashlib.sha256(f"{export.sha256}{plan.sha256}".encode()).hexdigest(),
        material=material_of(laid(passed.export, plan)),
        dates_shown=dates_shown,
        to_file=to_file,
        withheld=passed.withheld,
        unread=passed.unread,
    )


def read_stretch(
    ready: Prepared, stretch: Stretch, before: Mapping[str, int] = NOTHING_BEFORE, *, whole: bool = True
) -> ReadExport:
    """The patients of a stretch, `before` whom so many rows were made; the findings are those about their own cells."""
    shape = reshaped(ready.material, stretch, before)
    raw = raw_source(shape.making, ready.layout, ready.name, ready.sha256)
    read = interpreted(raw)
    draft, said = marked(read, shape.making)
    draft = checked(draft, whole=whole)
    sheets = ready.material.laid.sheets
    places = Places(making=shape.making, sheets=sheets, name=ready.name, dates_shown=ready.dates_shown)
    aside = _set_aside(draft, places)
    found = draft.findings, len(read.findings), said
    registry = Registry(
        **link(frames_of(draft)),
        findings=places.all_findings(*found),
        set_aside=_as_rows(aside),
        source=_with_unread(source_of(raw, draft), aside),
        given=frozenset(raw.tables),
    )
    return ReadExport(
        registry=registry,
        on_screen=replace(places, dates_shown=True).all_findings(*found) if ready.to_file else registry.findings,
        material=ready.material,
        reshaped=shape,
        draft=draft,
        places=places,
        about_source=tuple(not_mapped(each, ready.name) for each in about_source(raw)),
        unusable=required_missing(raw),
    )


def all_findings(ready: Prepared, about: Sequence[pd.DataFrame], told: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """What there is to say of an export, in order: `about` the source, and `told` of its rows and cells."""
    identity = *about_withheld(ready.withheld), *about_unread(ready.unread)
    listed = [*about, *identity, *about_export(ready.material.laid, ready.material.aside), *told]
    return in_order(pd.concat([each for each in listed if len(each)] or [no_findings()], ignore_index=True))


def refuse_unusable(ready: Prepared, findings: pd.DataFrame, *, unusable: bool, patients: int) -> None:
    """RegistryError if no registry can be made of what was read."""
    if unusable or not patients:
        raise RegistryError(problem_report(findings, ready.name), findings=findings)


def all_set_aside(ready: Prepared, lists: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Everything set aside: rows and cells of made tables, then the rows of which nothing was made."""
    material = ready.material
    parts = [each for each in (*lists, *listed_aside(material.aside, material.people)) if len(each)]
    return pd.concat(parts, ignore_index=True)[list(SET_ASIDE_COLUMNS)] if parts else nothing_set_aside()


def _set_aside(draft: Draft, places: Places) -> pd.DataFrame:
    """What was set aside, in the places of the export, and which table a cell would have made rows in."""
    listed = set_aside_of(draft)
    listed[_MAKES] = _of_cells(listed)
    told = [places.set_aside(listed[(listed["table"] == name).to_numpy()], name) for name in TABLES]
    parts = [each for each in told if len(each)]
    return pd.concat(parts, ignore_index=True) if parts else nothing_set_aside().assign(**{_MAKES: ""})


_MAKES = "makes"
"""While the list is made: the table in which a cell that was set aside would have made rows, else blank."""


def _of_cells(listed: pd.DataFrame) -> pd.Series:
    children = listed["column"].map(CHILDREN).where((listed["table"] == "sessions") & (listed["scope"] == "cell"))
    return children.fillna("")


def _as_rows(listed: pd.DataFrame) -> pd.DataFrame:
    """The list with a cell of a session that names events, instruments or stents as the row that it would have made."""
    makes = listed[_MAKES] != ""
    out = listed.assign(table=listed["table"].mask(makes, listed[_MAKES]), scope=listed["scope"].mask(makes, "row"))
    return out[list(SET_ASIDE_COLUMNS)]


def _with_unread(source: Source, listed: pd.DataFrame) -> Source:
    """The counts with such rows: read, and not kept."""
    unread = listed[_MAKES].value_counts()
    return replace(
        source, rows_read={name: number + int(unread.get(name, 0)) for name, number in source.rows_read.items()}
    )
