"""What a figure needs to be recorded; where it is not, the question stays unanswered and says what to add.

A table that a unit does not keep is not a table of noes: no scan is not "unresolved", no review not "unwell".
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.errors import DesignError
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Result, Unanswered


@dataclass(frozen=True, kw_only=True)
class Need:
    """A table, and columns of it of which one at least must hold something; `instead` does as well.

    `of_rows`: the columns are asked for only where the table has rows. `lacking` and `remedy` are sentences.
    """

    table: str
    columns: tuple[str, ...] = ()
    instead: Need | None = None
    of_rows: bool = False
    lacking: str
    remedy: str

    def met(self, registry: Registry) -> bool:
        """Whether the registry records it."""
        recorded = registry.recorded
        held = recorded.has(self.table, *self.columns) or (self.of_rows and recorded.without_rows(self.table))
        return held or (self.instead is not None and self.instead.met(registry))


SCANS = Need(
    table="scans",
    columns=("long_mm",),
    lacking="No scan with a longest axis is recorded, and resolution is read from scans.",
    remedy="Add the table scans, with the day and long_mm of each.",
)
SCAN_DAYS = Need(
    table="scans",
    columns=("day",),
    lacking="No scan is recorded.",
    remedy="Add the table scans, with the day of each.",
)
REVIEWS = Need(
    table="reviews",
    columns=("symptom_free",),
    lacking="No clinical review says whether a patient was free of symptoms, and this definition of resolution asks.",
    remedy="Add the table reviews, with day and symptom_free, or pass a definition with symptom_free=False.",
)
INTERVENTIONS = Need(
    table="other_interventions",
    lacking="Surgery and percutaneous drains are not recorded, and they end a course as this definition counts it.",
    remedy="Add the table other_interventions; one with its headings only says that there was none.",
)
HELD = Need(
    table="sessions",
    columns=("session_type",),
    lacking="No session is recorded.",
    remedy="Add the table sessions, with the day and session_type of each.",
)
EVENTS_CHECKED = Need(
    table="sessions",
    columns=("events_checked",),
    lacking="It is not recorded after which sessions somebody looked for adverse events, so there is no denominator.",
    remedy="Add the column events_checked to sessions: yes where somebody looked, whatever was found.",
)
EVENTS = Need(
    table="adverse_events",
    lacking="Adverse events are not recorded.",
    remedy="Add the table adverse_events; one with its headings only says that there was none.",
)
INSTRUMENTS = Need(
    table="instrument_uses",
    columns=("instrument_class",),
    lacking="No instrument is recorded.",
    remedy="Add the table instrument_uses, with a row for each class used in a session.",
)
_YIELDS_OF_USES = Need(
    table="instrument_uses",
    columns=("yield_low",),
    lacking="No yield is recorded for an instrument.",
    remedy="Fill in yield_low, yield_high and yield_unit in instrument_uses.",
)
YIELDS = Need(
    table="sessions",
    columns=("yield_low", "yield_high", "yield_words"),
    instead=_YIELDS_OF_USES,
    lacking="No yield is recorded.",
    remedy="Fill in yield_low, yield_high and yield_unit in sessions.",
)
STENTS = Need(
    table="stents",
    columns=("placed_day",),
    lacking="No stent is recorded.",
    remedy="Add the table stents, with placed_day and removed_day.",
)
SCANNED_SIZES = Need(
    table="scans",
    columns=("long_mm", "volume_ml"),
    lacking="No scan with a size is recorded.",
    remedy="Add the table scans, with the day and long_mm or volume_ml of each.",
)

Arguments = Mapping[str, Any]
Needs = Callable[[Arguments], Sequence[Need]]


def of_resolution(arguments: Arguments) -> tuple[Need, ...]:
    """What a definition of resolution needs."""
    definition = arguments["definition"]
    needed = [SCANS]
    if isinstance(definition, ResolutionDefinition):
        needed += [REVIEWS] if definition.symptom_free else []
        needed += [INTERVENTIONS] if set(definition.causes) - {"resolved", "death"} else []
    return tuple(needed)


def of_any_resolution(arguments: Arguments) -> tuple[Need, ...]:
    """What the least asking of several definitions of resolution needs."""
    each = [of_resolution({"definition": definition}) for definition in arguments["definitions"]]
    return min(each, key=len, default=())


def answerable(registry: Registry, definitions: Sequence[ResolutionDefinition]) -> list[ResolutionDefinition]:
    """The definitions for which everything is recorded."""
    return [
        definition
        for definition in definitions
        if all(need.met(registry) for need in of_resolution({"definition": definition}))
    ]


def resolution_and(*more: Need) -> Needs:
    """What a definition of resolution needs, and more."""
    return lambda arguments: (*of_resolution(arguments), *more)


def of_events(arguments: Arguments) -> tuple[Need, ...]:
    """What rates of adverse events need: that they are recorded, and looked for; for stent-days also stents."""
    units = arguments.get("units") or arguments.get("unit") or ()
    return (EVENTS, EVENTS_CHECKED, *((STENTS,) if "100 stent-days" in units else ()))


def needing(title: str, needs: Needs | Sequence[Need]):
    """A measure that is Unanswered, under a title, by a registry that does not record what it needs."""

    def declared(measure: Callable[..., Result]) -> Callable[..., Result]:
        signature = inspect.signature(measure)

        @functools.wraps(measure)
        def answered(registry: Registry, *positional, **named) -> Result:
            bound = signature.bind(registry, *positional, **named)
            bound.apply_defaults()
            wanted = needs(bound.arguments) if callable(needs) else needs
            missing = [need for need in wanted if len(registry.patients) and not need.met(registry)]
            return unanswered(registry, title, missing) if missing else measure(registry, *positional, **named)

        return answered

    return declared


def needs_of_frame(needs: Needs):
    """A function that makes a data frame: DesignError by a registry that lacks what it needs."""

    def declared(make: Callable[..., pd.DataFrame]) -> Callable[..., pd.DataFrame]:
        signature = inspect.signature(make)

        @functools.wraps(make)
        def made(registry: Registry, *positional, **named) -> pd.DataFrame:
            bound = signature.bind(registry, *positional, **named)
            bound.apply_defaults()
            missing = [need for need in needs(bound.arguments) if len(registry.patients) and not need.met(registry)]
            if missing:
                raise DesignError(" ".join(f"{need.lacking} {need.remedy}" for need in missing))
            return make(registry, *positional, **named)

        return made

    return declared


def unanswered(registry: Registry, title: str, missing: Sequence[Need]) -> Unanswered:
    """The result that says what is not recorded and what to add."""
    return Unanswered(
        title=title,
        frame=pd.DataFrame(),
        population=Population(patients=len(registry.patients)),
        method=Method(estimand="not computed", estimator="none", interval="none", level=0.95),
        notes=tuple(Note(code="NOT_RECORDED", text=f"{need.lacking} {need.remedy}") for need in missing),
    )
