"""Does the answer depend on how shared sessions are credited, and on what is adjusted for?

The answer to a buyer's question, put together from what was computed: no figure of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.attribution import RULES, AttributionRule, rule_named
from necrostats.errors import ChoiceError
from necrostats.measures.credited_yields import UNIT_NAMES, Debridements, debridements, known_unit
from necrostats.measures.grouping import counted
from necrostats.measures.yield_comparison import class_or_none
from necrostats.measures.yield_contrasts import Compared, Setting, class_place, compared, measure_of, setting
from necrostats.measures.yield_models import INTERCEPT, POOLED, USUAL, WITHIN, Difference, adjustment_names
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.registry.tables import Registry
from necrostats.results import Answer, Method, Note, Population, Specifications, Statements, YieldComparison

NOTHING, WITHIN_PATIENTS = "nothing", "within patients"
COLUMNS = (*Specifications.columns, "df", "main", "simplified")


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
    rows = [row for asked in settings for row in _rows(asked, names)]
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
        method=_method(first, names, chosen, level),
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


def _rows(asked: Setting, names: Sequence[str]) -> Iterator[dict]:
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
    table = pd.DataFrame(rows, columns=list(COLUMNS))
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


def _method(asked: Setting, names: Sequence[str], rules: Sequence[AttributionRule], level: float) -> Method:
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
