"""Can our data tell? What this series could show, and how much more it would take."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.attribution import ONE_CLASS, AttributionRule, rule_named
from necrostats.measures.credited_yields import debridements, known_unit
from necrostats.measures.grouping import counted
from necrostats.measures.instrument_events import adverse_events_by_class
from necrostats.measures.yield_contrasts import Compared, Setting, class_name, class_place, compared, setting
from necrostats.measures.yield_models import INTERCEPT, USUAL, Difference, adjustment_names
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.registry.tables import Registry
from necrostats.results import Method, Population, Statements
from necrostats.stats import checks
from necrostats.stats.power import (
    detectable_share,
    event_free_to_exclude,
    further_event_free,
    further_in_each,
    smallest_detectable,
    upper_limit,
)

COLUMNS = (
    "instrument_class",
    "compared_with",
    "sessions",
    "patients",
    "ratio",
    "low",
    "high",
    "smallest_ratio_found",
    "further_sessions_of_each",
    "sessions_watched",
    "with_an_event",
    "upper_limit",
    "further_event_free_sessions",
    "smallest_event_share_found",
)
COUNTS = ("sessions", "patients", "further_sessions_of_each", "sessions_watched", "with_an_event")


def precision_plan(
    registry: Registry,
    *,
    reference: str | None = None,
    primary: str | None = None,
    unit: str | None = None,
    rule: AttributionRule | str = ONE_CLASS,
    adjust: Sequence[str] = USUAL,
    power: float = 0.8,
    within: float = 0.25,
    event_rate: float = 0.05,
    level: float = 0.95,
) -> Statements:
    """For each class: the smallest ratio of yields that today's sessions would find, and how many more are needed.

    `smallest_ratio_found`: with such `power`, by the adjusted model's own error and degrees of freedom.
    `further_sessions_of_each`: of the class and of the reference, until the interval of the ratio reaches no further
    than 1 + `within` times the estimate. Of adverse events: sessions watched, the exact one-sided upper limit, the
    further sessions, all without an event, until `event_rate` is excluded, and the smallest share of sessions with an
    event that would be told from the reference's. Shares are of 1; counts are sessions; blank = cannot be told.

    Counted: necrosectomies as compare_yield counts them; for events, sessions watched.
    Source: Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd ed. 1988.
    """
    rule, names = rule_named(rule), adjustment_names(adjust)
    power, within = checks.probability("power", power), checks.positive("within", within)
    event_rate = checks.probability("event_rate", event_rate)
    found = debridements(registry)
    asked = setting(
        registry,
        found,
        rule,
        unit=known_unit(unit, found),
        per="session",
        level=level,
        reference=class_place(reference),
        primary=class_place(primary),
    )
    model = compared(asked, INTERCEPT, names)
    watched = _watched(registry, level)
    table = _table(list(_rows(asked, model, watched, power, within, event_rate)))
    return Statements(
        title="Can our data tell?",
        frame=table,
        said=tuple(_said(asked, table, power, within, event_rate)),
        population=Population(
            patients=model.all_patients, sessions=model.rows, left_out={**asked.rows.left_out, **model.left_out}
        ),
        method=_method(asked, names, power, within, event_rate, level),
        notes=model.notes,
    )


def _watched(registry: Registry, level: float) -> dict[str, tuple[int, int]]:
    """Sessions with an event and sessions watched, by class."""
    rates = adverse_events_by_class(registry, level=level).frame
    if rates.empty:
        return {}
    sessions = rates[rates["unit"] == "sessions"]
    return {str(row.group): (int(row.events), int(row.n)) for row in sessions.itertuples()}


def _rows(asked: Setting, model: Compared, watched, power, within, event_rate) -> Iterator[dict]:
    first = [place for place in (asked.primary, asked.reference) if place is not None]
    rest = [cell.place for cell in asked.cells if cell.sessions and cell.place not in first]
    events_ref = watched.get(_code(asked.reference), (0, 0))
    for place in dict.fromkeys((*first, *rest)):
        found = model.differences.get(place, Difference())
        cell = asked.cells[place]
        yield {
            "instrument_class": _code(place),
            "compared_with": _code(asked.reference) if place != asked.reference else "",
            "sessions": model.sessions.get(place, cell.some),
            "patients": model.patients.get(place, cell.some_patients),
            **_of_yield(found, model, place, asked, power, within),
            **_of_events(watched.get(_code(place), (0, 0)), events_ref, place, asked, power, event_rate),
        }


def _code(place: int | None) -> str:
    return "" if place is None else COMPARED_CLASSES[place]


def _of_yield(found: Difference, model: Compared, place: int, asked: Setting, power, within) -> dict:
    known = found.error == found.error
    sessions = [float(model.sessions.get(each, 0)) for each in (place, asked.reference)]
    more = further_in_each(found.error, *sessions, np.log1p(within), level=asked.level) if known else None
    least = smallest_detectable(found.error, found.df, power=power, level=asked.level) if known else np.nan
    return {
        "ratio": np.exp(found.estimate),
        "low": np.exp(found.low),
        "high": np.exp(found.high),
        "smallest_ratio_found": np.exp(least),
        "further_sessions_of_each": more,
    }


def _of_events(here: tuple[int, int], there: tuple[int, int], place: int, asked: Setting, power, rate) -> dict:
    (events, n), (events_ref, n_ref) = here, there
    compared_with = n_ref and n and place != asked.reference
    share = detectable_share(events_ref / n_ref, n, n_ref, power=power, level=asked.level) if compared_with else np.nan
    return {
        "sessions_watched": n,
        "with_an_event": events,
        "upper_limit": upper_limit(events, n, level=asked.level) if n else np.nan,
        "further_event_free_sessions": further_event_free(events, n, rate, level=asked.level),
        "smallest_event_share_found": share,
    }


def _table(rows: list[dict]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in COLUMNS[2:]:
        whole = name in COUNTS or name == "further_event_free_sessions"
        table[name] = table[name].astype("Int64" if whole else "float64")
    return table


def _said(asked: Setting, table: pd.DataFrame, power: float, within: float, rate: float) -> Iterator[str]:
    """The plan in sentences: the contrast named in advance, then events."""
    row = table[table["instrument_class"] == _code(asked.primary)]
    if asked.primary is None or asked.reference is None or row.empty:
        yield "There is no pair of classes with enough sessions to plan for."
    elif np.isnan(row["smallest_ratio_found"].iloc[0]):
        pair = f"{class_name(asked.primary)} and {class_name(asked.reference)}"
        yield f"What these data could tell of {pair} is not known: the adjusted ratio could not be estimated."
    else:
        yield _of_ratio(asked, row.iloc[0], power, within)
    free, few = event_free_to_exclude(rate, level=asked.level), f"{rate * 100:g} %"
    yield (
        f"{free:,} sessions in a row without an adverse event are needed to exclude a rate of {few} "
        f"({asked.level * 100:g} % one-sided)."
    )


def _of_ratio(asked: Setting, row: pd.Series, power: float, within: float) -> str:
    one, other = class_name(asked.primary), class_name(asked.reference)
    more = row["further_sessions_of_each"]
    need = (
        "so many more that planning for it makes no sense"
        if pd.isna(more)
        else "no further sessions"
        if more == 0
        else f"about {counted(int(more), 'further session', 'further sessions')} of each class"
    )
    least = row["smallest_ratio_found"]
    return (
        f"With {power * 100:g} % power these data would find a true ratio of {least:.2f} or more between {one} and "
        f"{other} (or of {1 / least:.2f} or less); to know the ratio to within ±{within * 100:g} % takes {need}."
    )


def _method(asked: Setting, names: Sequence[str], power, within, rate, level: float) -> Method:
    given = f" given {', '.join(names)}" if names else ""
    return Method(
        estimand=f"the smallest ratio of yields found with {power * 100:g} % power{given}, the further sessions of "
        f"each class until the ratio is known to within ±{within * 100:g} %, and those without an event until a rate "
        f"of {rate * 100:g} % is excluded",
        estimator="closed forms: noncentral t with the error and degrees of freedom of the adjusted model; that error "
        "shrinking as √(1/n + 1/m), with new sessions spread over patients as today's are; exact one-sided binomial "
        "limit; two shares by the normal approximation, sessions taken as independent, so rather too hopeful",
        interval="of the ratio: t limits on the log scale; of events: one-sided",
        level=level,
        definition=f"rule for shared sessions: {asked.rule.sentence}; a plan for what is still to come: power says "
        "nothing about the ratio already estimated, whose interval says what these data allow",
        references=("Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd ed. 1988",),
    )
