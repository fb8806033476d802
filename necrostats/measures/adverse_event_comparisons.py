"""Adverse events of groups compared: the contrast, its limits, and the test that the numbers call for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import THIRTY_DAYS, EventWindow, window_named
from necrostats.definitions.grades import AGREE, GradingScale, scale_named
from necrostats.errors import DesignError, unknown_choice
from necrostats.measures.adverse_event_choosing import ANY, ChosenEvents, chosen_events, known_types, of_type, of_types
from necrostats.measures.adverse_event_contrasts import Asked, FoundContrast, Side, asked_for, contrast_of
from necrostats.measures.adverse_event_units import PATIENTS, SESSIONS, Watchful
from necrostats.measures.adverse_event_wording import CHECKED, watching_notes
from necrostats.measures.adverse_events import stent_groups
from necrostats.measures.grouping import OF_THE_SESSION, Grouping, session_groups
from necrostats.measures.watching import watched
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Method, Note, Population
from necrostats.stats.comparisons.choosing import NO_TEST
from necrostats.stats.multiplicity import holm

COLUMNS = (
    *Comparison.columns, "variable", "unit", "events", "n", "events_ref", "n_ref", "test", "limits", "rule",
    "p_unadjusted",
)  # fmt: skip
MOST_RULES = 3
HOLM = "Holm, Scand J Stat 1979;6:65"


def compare_adverse_events(
    registry: Registry,
    *,
    by: str,
    reference: str | None = None,
    event_type: str | Sequence[str] | None = None,
    window: EventWindow | str = THIRTY_DAYS,
    grade_from: str | None = None,
    grading: GradingScale | str = AGREE,
    attribution_from: str | None = None,
    unit: str = PATIENTS,
    measure: str | None = None,
    method: str | None = None,
    test: str | None = None,
    level: float = 0.95,
) -> Comparison:
    """Each group against the reference (default: the first with anybody in it), events counted as in the rates.

    `unit`, its measures (the first by default) and its tests (by default chosen by a rule that is printed):
    "patients": "risk difference", "risk ratio", "odds ratio"; "boschloo", "fisher", "fisher mid-P", "chi-squared",
    "yates". "sessions": "odds ratio"; "gee", "firth". "100 patient-days", "100 stent-days": "rate ratio"; "exact",
    "mid-P", "minlike", "robust".

    `method` names the limits of a measure of patients, such as "newcombe". `event_type` may be several: the result is
    exploratory then, and `p_value` is Holm's over all rows (`p_unadjusted` beside it). The counts stand in `events`,
    `n`, `events_ref`, `n_ref`. Raises DesignError for patients or days by something of the session, since one patient
    could be in both groups; ChoiceError for a name that is not on its list.
    """
    asked = asked_for(unit, measure, method, test, level)
    window, scale, variables = window_named(window), scale_named(grading), known_types(event_type, (ANY,))
    if by in OF_THE_SESSION and unit != SESSIONS:
        raise DesignError(
            f'"{by}" belongs to a session, so one patient can be in both groups and {unit} are not independent. '
            f'Compare sessions (unit="{SESSIONS}"), or group by something recorded at the index drainage.'
        )
    groups = session_groups(registry, by)
    seen = watched(registry, groups, window)
    stents, of_stents = stent_groups(registry, seen, by, (unit,), len(groups.labels))
    counted = of_types(registry, variables) & (seen.event_session >= 0 if stents is None else stents.events)
    chosen = chosen_events(registry, scale, grade_from, attribution_from, counted)
    sides = [Side(watchful=Watchful.of(seen, at), stents=of_stents[at]) for at in range(len(groups.labels))]
    base = _reference(groups, sides, reference)
    found = {
        (variable, place): contrast_of(seen, side, sides[base], chosen.counts & of_type(registry, variable), asked)
        for variable in variables
        for place, side in enumerate(sides)
        if place != base
    }
    table = _table(found, groups, base, variables, unit)
    left_out = {**seen.left_out(), **(stents.left_out() if stents else {}), **chosen.left_out()}
    return Comparison(
        title=f"Adverse events {window.sentence()}{chosen.words}, by {by.replace('_', ' ')}",
        table=table,
        population=Population(patients=seen.patients, sessions=seen.sessions, left_out=left_out),
        method=_method(found, window, scale, chosen, asked),
        notes=(*watching_notes(seen, (unit,)), *_notes(found, table)),
    )


def _reference(groups: Grouping, sides: list[Side], reference: str | None) -> int:
    if reference is not None:
        if reference not in groups.labels:
            raise unknown_choice("group to compare with", reference, groups.labels)
        return groups.labels.index(reference)
    return next((place for place, side in enumerate(sides) if side.watchful.days.size), 0)


def _table(
    found: dict[tuple[str, int], FoundContrast], groups: Grouping, base: int, variables: Sequence[str], unit: str
) -> pd.DataFrame:
    rows = [
        {"variable": variable, "group": place, "reference": base, "unit": unit, **each.row()}
        for (variable, place), each in found.items()
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in ("estimate", "conf_low", "conf_high", "statistic", "p_value"):
        table[name] = table[name].astype("float64")
    for name in ("events", "n", "events_ref", "n_ref"):
        table[name] = table[name].astype("int64")
    table["p_unadjusted"] = table["p_value"]
    table["p_value"] = holm(table["p_value"]) if len(table) else table["p_value"]
    for name in ("group", "reference"):
        table[name] = groups.column(table[name].to_numpy(dtype=np.int64))
    table["variable"] = pd.Categorical(table["variable"], categories=list(variables), ordered=True)
    return table


def _method(
    found: dict, window: EventWindow, scale: GradingScale, chosen: ChosenEvents, asked: Asked
) -> Method:
    limits = list(dict.fromkeys(each.limits for each in found.values() if each.possible and each.limits))
    rules = list(dict.fromkeys(each.rule for each in found.values() if each.possible)) or [NO_TEST]
    more = f" And {len(rules) - MOST_RULES} more in the table." if rules[MOST_RULES:] else ""
    said = " ".join(rules[:MOST_RULES]) + more
    several = sum(each.possible for each in found.values()) > 1
    graded = scale.name in chosen.words
    return Method(
        estimand=f"{asked.measure} of adverse events {window.sentence()}{chosen.words}, over {asked.unit}",
        estimator=f"{asked.measure} against the reference group. Test: {said}" if rules else asked.measure,
        interval="; ".join(limits) or "none: nothing to compare",
        level=asked.level,
        definition=f"window: {window.sentence()}; {CHECKED}{chosen.words}; groups as they were, not assigned: a "
        "difference is an association",
        references=(*((HOLM,) if several else ()), *((scale.reference,) if graded else ())),
    )


def _notes(found: dict[tuple[str, int], FoundContrast], table: pd.DataFrame) -> tuple[Note, ...]:
    notes = list(dict.fromkeys(note for each in found.values() for note in each.notes))
    compared = sum(each.possible for each in found.values())
    if compared > 1:
        tested = int(table["p_unadjusted"].notna().sum())
        how = f", {tested} of them tested; p-values are adjusted by Holm's method" if tested > 1 else ""
        text = f"Exploratory: {compared} comparisons{how}; intervals are not adjusted."
        notes.append(Note(code="MULTIPLICITY", text=text))
    if not found:
        notes.append(Note(code="SMALL_N", text="There is one group only: nothing can be compared."))
    return tuple(notes)
