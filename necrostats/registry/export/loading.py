"""A registry from any export with its layout, checked by the same rules as a tidy one."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from necrostats.errors import RegistryError
from necrostats.registry.checking import checked
from necrostats.registry.checking_headers import about_source, required_missing
from necrostats.registry.codebook import TABLES
from necrostats.registry.drafts import Draft
from necrostats.registry.export.about import about_export, listed_aside, not_mapped
from necrostats.registry.export.drafting import marked, raw_source
from necrostats.registry.export.laying import Laid, laid
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.layout_reading import read_layout
from necrostats.registry.export.private import refuse_identifiers
from necrostats.registry.export.reading import read_export
from necrostats.registry.export.relocating import Places
from necrostats.registry.export.reshaping import Reshaped, reshaped
from necrostats.registry.findings import in_order
from necrostats.registry.interpreting import interpreted
from necrostats.registry.loading import frames_of, set_aside_of, source_of
from necrostats.registry.messages import problem_report
from necrostats.registry.tables import SET_ASIDE_COLUMNS, Registry, link, nothing_set_aside


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ReadExport:
    """A registry, and how each of its cells came about."""

    registry: Registry
    laid: Laid
    reshaped: Reshaped
    draft: Draft
    places: Places


def _quietly(line: str) -> None:
    """Says nothing."""


def registry_of_export(source: str | Path, layout: str | Path | Layout, **how) -> Registry:
    """The registry in an export; see `read_with_layout`."""
    return read_with_layout(source, layout, **how).registry


def read_with_layout(
    source: str | Path, layout: str | Path | Layout, *, accepted: Collection[str] = (), dates_shown: bool = False,
    say: Callable[[str], None] = _quietly,
) -> ReadExport:  # fmt: skip
    """A workbook, a csv file or a folder of them, read by a layout.

    The privacy check comes first and stops (RegistryError without any value); columns in `accepted` have been
    looked at by a person. Findings show dates only if `dates_shown`. SourceError if the source cannot be read;
    RegistryError, with all `findings`, if layout and export do not fit or no patient is left.
    """
    plan = layout if isinstance(layout, Layout) else read_layout(layout)
    export = read_export(source, say=say)
    say("looking for identifiers")
    refuse_identifiers(export, plan, accepted)
    say("reading by the layout")
    placed = laid(export, plan)
    shape = reshaped(placed)
    sha256 = hashlib.sha256(f"{export.sha256}{plan.sha256}".encode()).hexdigest()
    raw = raw_source(shape.making, plan, export.name, sha256)
    say("checking")
    read = interpreted(raw)
    draft, said = marked(read, shape.making)
    draft = checked(draft)
    places = Places(making=shape.making, sheets=placed.sheets, name=export.name, dates_shown=dates_shown)
    told = places.all_findings(draft.findings, len(read.findings), said)
    listed = [*(not_mapped(each, export.name) for each in about_source(raw)), *about_export(placed, shape.aside), told]
    findings = in_order(pd.concat([each for each in listed if len(each)] or [told], ignore_index=True))
    if required_missing(raw) or not draft["patients"].kept.any():
        raise RegistryError(problem_report(findings, export.name), findings=findings)
    registry = Registry(
        **link(frames_of(draft)), findings=findings, set_aside=_set_aside(draft, shape, places),
        source=source_of(raw, draft),
    )  # fmt: skip
    return ReadExport(registry=registry, laid=placed, reshaped=shape, draft=draft, places=places)


def _set_aside(draft: Draft, shape: Reshaped, places: Places) -> pd.DataFrame:
    listed = set_aside_of(draft)
    told = [places.set_aside(listed[(listed["table"] == name).to_numpy()], name) for name in TABLES]
    parts = [each for each in (*told, *listed_aside(shape.aside)) if len(each)]
    return pd.concat(parts, ignore_index=True)[list(SET_ASIDE_COLUMNS)] if parts else nothing_set_aside()
