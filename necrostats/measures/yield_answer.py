"""Which class removes more: does the answer hold under every rule, can these data tell at all, and the answer itself.

The answer is put together from what was computed, with no figure of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.attribution import ONE_CLASS, RULES, AttributionRule, rule_named
from necrostats.errors import ChoiceError
from necrostats.measures.credited_yields import UNIT_NAMES, Debridements, debridements, known_unit
from necrostats.measures.grouping import counted
from necrostats.measures.instrument_events import adverse_events_by_class
from necrostats.measures.yield_comparison import class_or_none
from necrostats.measures.yield_contrasts import (
    Compared,
    Setting,
    class_name,
    class_place,
    compared,
    measure_of,
    setting,
)
from necrostats.measures.yield_models import INTERCEPT, POOLED, USUAL, WITHIN, Difference, adjustment_names
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.registry.tables import Registry
from necrostats.results import Answer, Method, Note, Population, Specifications, Statements, YieldComparison
from necrostats.stats import checks
from necrostats.stats.power import (
    detectable_share,
    event_free_to_exclude,
    further_event_free,
    further_in_each,
    smallest_detectable,
    upper_limit,
)

NOTHING, WITHIN_PATIENTS = "nothing", "within patients"
RULES_COLUMNS = (*Specifications.columns, "df", "main", "simplified")


def attribution_sensitivity(
    registry: Registry,
    *,
    reference: str | None = None,
    primary: str | None = None,
    unit: str | None = None,
    adjust: Sequence[str] = USUAL,
    rules: Sequence[AttributionRule | str] = RULES,
    level: float = 0.95,
) -> Specifications:
    """One contrast under every rule for shared sessions and every set of adjustments, sorted by estimate.

    The sets: nothing; each of `adjust` by itself; all of them; all of them within patients. Classes and unit as for
    compare_yield, the same pair throughout. The rows come from the same patients: they are not independent and are
    not to be tested against each other. The verdict holds only where every rule, adjusted for all, has the same sign.

    Counted: necrosectomies whose yield each rule credits, clustered by patient.
    Source: Simonsohn, Simmons and Nelson, Nat Hum Behav 2020;4:1208 (every specification, from memory).
    """
    chosen, names = [rule_named(each) for each in rules], adjustment_names(adjust)
    if not chosen:
        raise ChoiceError("rules is empty: name at least one, such as rules=('one-class sessions only',).")
    found = debridements(registry)
    unit = known_unit(unit, found)
    pair = [class_place(each) for each in (reference, primary)]
    tried = [
        setting(registry, found, rule, unit=unit, per="session", level=level, reference=pair[0], primary=pair[1])
        for rule in chosen
    ]
    first = next((each for each in tried if each.others), tried[0])
    settings = [_same_pair(registry, found, rule, first) for rule in chosen]
    rows = [row for asked in settings for row in _rules_rows(asked, names)]
    table = _sorted(rows)
    return Specifications(
        title=f"{_pair(first).capitalize()}: the ratio of yields under every rule and adjustment",
        frame=table,
        verdict=_verdict(first, table),
        population=Population(
            patients=max(np.unique(asked.rows.patient).size for asked in settings),
            sessions=max(np.unique(asked.rows.row).size for asked in settings),
            left_out={
                f"specifications that could not be fitted (of {len(table)})": int(table["estimate"].isna().sum())
            },
        ),
        method=_rules_method(first, names, chosen, level),
        notes=_notes(table, first),
    )


def _same_pair(registry: Registry, found: Debridements, rule: AttributionRule, first: Setting) -> Setting:
    return setting(
        registry,
        found,
        rule,
        unit=first.rows.unit,
        per="session",
        level=first.level,
        reference=first.reference,
        primary=first.primary,
    )


def _pair(asked: Setting) -> str:
    return f"{class_or_none(asked.primary)} v {class_or_none(asked.reference)}"


def _sets(names: Sequence[str]) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """The label, kind of model and adjustments of every specification."""
    yield NOTHING, POOLED, ()
    if len(names) > 1:
        for name in names:
            yield name, INTERCEPT, (name,)
    if names:
        yield ", ".join(names), INTERCEPT, tuple(names)
    yield WITHIN_PATIENTS if not names else f"{', '.join(names)}, {WITHIN_PATIENTS}", WITHIN, tuple(names)


def _rules_rows(asked: Setting, names: Sequence[str]) -> Iterator[dict]:
    for label, kind, adjust in _sets(names):
        model = compared(asked, kind, adjust)
        found = model.differences.get(asked.primary, Difference())
        main = kind == INTERCEPT and adjust == tuple(names)
        yield _row(asked, model, found, label, main)


def _row(asked: Setting, model: Compared, found: Difference, label: str, main: bool) -> dict:
    pair = (asked.primary, asked.reference)
    return {
        "group": "" if asked.primary is None else COMPARED_CLASSES[asked.primary],
        "reference": "" if asked.reference is None else COMPARED_CLASSES[asked.reference],
        "measure": measure_of(INTERCEPT, asked.rows.unit).partition(",")[0],
        "estimate": np.exp(found.estimate),
        "low": np.exp(found.low),
        "high": np.exp(found.high),
        "statistic": found.statistic,
        "p_value": np.nan,
        "rule": asked.rule.name,
        "adjusted_for": label,
        "sessions": sum(model.sessions.get(place, 0) for place in pair),
        "patients": model.all_patients,
        "df": found.df,
        "main": main,
        "simplified": "; ".join(note.text for note in model.notes if note.text.startswith("Too few yields")),
    }


def _sorted(rows: list[dict]) -> pd.DataFrame:
    """By estimate, those without one last; rules and adjustments in the order in which they were asked for."""
    table = pd.DataFrame(rows, columns=list(RULES_COLUMNS))
    for name in ("rule", "adjusted_for"):
        table[name] = pd.Categorical(table[name], categories=list(dict.fromkeys(table[name])), ordered=True)
    for name in ("estimate", "low", "high", "statistic", "p_value", "df"):
        table[name] = table[name].astype("float64")
    return table.sort_values("estimate", kind="stable", na_position="last", ignore_index=True)


def _verdict(asked: Setting, table: pd.DataFrame) -> str:
    """One sentence: only the rules adjusted for everything decide, by their sign and their limits."""
    if asked.primary is None or asked.reference is None:
        return "There is no contrast to try under the rules."
    main = table[table["main"]]
    known = main[main["estimate"].notna()]
    one, other = class_or_none(asked.primary), class_or_none(asked.reference)
    if len(known) < len(main) or known.empty:
        lost = [str(rule) for rule in main.loc[main["estimate"].isna(), "rule"]]
        return (
            f"Not known whether the contrast of {one} with {other} holds whichever way shared sessions are credited: "
            f"it could not be estimated under {', '.join(lost)}."
        )
    above, below = (known["estimate"] > 1).sum(), (known["estimate"] < 1).sum()
    if above and below:
        return (
            f"The contrast does not hold whichever way shared sessions are credited: {one} yielded more than {other} "
            f"under {above} of {counted(len(known), 'rule', 'rules')} and less under {below}."
        )
    more = "more" if above else "less"
    clear = ((known["low"] > 1) | (known["high"] < 1)).sum()
    sure = (
        f"and the interval excludes no difference under {clear} of them"
        if clear
        else "but under none of them does the interval exclude no difference"
    )
    return (
        f"{one.capitalize()} yielded {more} than {other} whichever way shared sessions are credited: the direction "
        f"holds under all {counted(len(known), 'rule', 'rules')}, {sure}."
    )


def _rules_method(asked: Setting, names: Sequence[str], rules: Sequence[AttributionRule], level: float) -> Method:
    return Method(
        estimand=f"ratio of geometric mean yields ({UNIT_NAMES[asked.rows.unit]}) per session with some yield, "
        f"{_pair(asked)}, under {counted(len(rules), 'rule', 'rules')} for shared sessions and every set of "
        "adjustments",
        estimator="an intercept for each patient on log yields, ranges as intervals; where a rule divides a session "
        "into rows, or nothing is adjusted for, errors are summed by patient",
        interval="t limits on the log scale",
        level=level,
        definition=" ".join(f"{rule.name.capitalize()}: {rule.sentence}." for rule in rules),
        references=("Simonsohn, Simmons and Nelson, Nat Hum Behav 2020;4:1208 (every specification, from memory)",),
    )


def _notes(table: pd.DataFrame, asked: Setting) -> tuple[Note, ...]:
    same = Note(
        code="MULTIPLICITY",
        text="Every row comes from the same patients: rows are not independent, and the one to quote was named in "
        "advance, not picked from here.",
    )
    lost = table[table["estimate"].isna()]
    listed = "; ".join(f"{row.rule} adjusted for {row.adjusted_for}" for row in lost.itertuples())
    text = f"No estimate (too few sessions, or nothing alike to compare) under: {listed}."
    simpler = list(dict.fromkeys(text for text in table["simplified"] if text))
    return (
        same,
        *(Note(code="SMALL_N", text=text) for text in simpler),
        *([Note(code="SMALL_N", text=text)] if len(lost) and asked.primary is not None else []),
    )


def yield_answer(compared: YieldComparison, rules: Specifications, plan: Statements) -> Answer:
    """The contrast named in advance, whether it holds under every rule, and whether these data can tell.

    `compared` from compare_yield, `rules` from attribution_sensitivity, `plan` from precision_plan, on one registry.

    Counted: as the three results that it is given.
    Source: Satterthwaite, Biometrics Bull 1946;2:110 (degrees of freedom); Bell and McCaffrey, Survey Methodology
        2002;28:169 (errors clustered by patient in small samples); Mundlak, Econometrica 1978;46:69 (within-patient
        terms); VanderWeele and Ding, Ann Intern Med 2017;167:268 (E-value).
    """
    primary = compared.frame[compared.frame["primary"]].reset_index(drop=True)
    pair = (compared.chosen, compared.reference)
    title = f"Which removes more: {pair[0]} or {pair[1]}?".replace("_", " ") if all(pair) else "Which removes more?"
    return Answer(
        title=title,
        frame=primary,
        cells=compared.cells,
        amounts=compared.amounts,
        reference=compared.reference,
        chosen=compared.chosen,
        verdict=rules.verdict,
        said=plan.said,
        population=compared.population,
        method=compared.method,
        notes=compared.notes,
    )


PLAN_COLUMNS = (
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
    table = _table(list(_plan_rows(asked, model, watched, power, within, event_rate)))
    return Statements(
        title="Can our data tell?",
        frame=table,
        said=tuple(_said(asked, table, power, within, event_rate)),
        population=Population(
            patients=model.all_patients, sessions=model.rows, left_out={**asked.rows.left_out, **model.left_out}
        ),
        method=_plan_method(asked, names, power, within, event_rate, level),
        notes=model.notes,
    )


def _watched(registry: Registry, level: float) -> dict[str, tuple[int, int]]:
    """Sessions with an event and sessions watched, by class."""
    rates = adverse_events_by_class(registry, level=level).frame
    if rates.empty:
        return {}
    sessions = rates[rates["unit"] == "sessions"]
    return {str(row.group): (int(row.events), int(row.n)) for row in sessions.itertuples()}


def _plan_rows(asked: Setting, model: Compared, watched, power, within, event_rate) -> Iterator[dict]:
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
    table = pd.DataFrame(rows, columns=list(PLAN_COLUMNS))
    for name in PLAN_COLUMNS[2:]:
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


def _plan_method(asked: Setting, names: Sequence[str], power, within, rate, level: float) -> Method:
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
