"""Which class of instrument removes more per session: crude, adjusted, and with patients as their own controls."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.attribution import ONE_CLASS, AttributionRule, rule_named
from necrostats.measures.credited_yields import (
    PERCENT,
    UNIT_NAMES,
    UNITS,
    Debridements,
    debridements,
    known_per,
    known_unit,
)
from necrostats.measures.debridement import amounts_of, class_record
from necrostats.measures.grouping import counted
from necrostats.measures.yield_contrasts import (
    FEWEST_PATIENTS,
    FEWEST_SESSIONS,
    KINDS,
    Compared,
    Setting,
    class_name,
    class_place,
    compared,
    measure_of,
    setting,
    variable_of,
)
from necrostats.measures.yield_models import INTERCEPT, USUAL, WITHIN, Difference, adjustment_names, banded, group_name
from necrostats.measures.yield_words import MEASURE as IN_WORDS
from necrostats.measures.yield_words import WordContrast, word_contrasts
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, YieldComparison
from necrostats.stats.clustered import share_difference
from necrostats.stats.comparisons.common import Contrast
from necrostats.stats.comparisons.risk_difference import risk_difference
from necrostats.stats.confounding import EValue, e_value_of_difference
from necrostats.stats.intervals import FEW, Interval

NO_YIELD = "difference in the share of sessions with some yield"
CROWDED = 1 / 3
REFERENCES = (
    "Satterthwaite, Biometrics Bull 1946;2:110 (degrees of freedom)",
    "Bell and McCaffrey, Survey Methodology 2002;28:169 (errors clustered by patient in small samples)",
    "Mundlak, Econometrica 1978;46:69 (within-patient terms)",
    "VanderWeele and Ding, Ann Intern Med 2017;167:268 (E-value)",
)
COLUMNS = (*YieldComparison.columns, "df", "adjusted_for", "e_value", "e_value_limit", "permutation_p")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Part:
    """One set of sessions (all, or those of one group): its name, setting and what the three kinds of model say."""

    variable: str
    asked: Setting
    models: dict[str, Compared]


def compare_yield(
    registry: Registry,
    *,
    reference: str | None = None,
    primary: str | None = None,
    unit: str | None = None,
    per: str = "session",
    rule: AttributionRule | str = ONE_CLASS,
    adjust: Sequence[str] = USUAL,
    by: str | None = None,
    level: float = 0.95,
) -> YieldComparison:
    """Ratio of geometric mean yields of each class against `reference`: crude, adjusted and within patients.

    `reference` and `primary` are the classes of the contrast named in advance; blank, those with most sessions.
    `unit`: "ml", "g" or "percent_cleared" (odds of cleared necrosis), never pooled; left out, the one most yields are
    in. `per`: "session", "minute" or "pass". `rule`: an AttributionRule or its name. `adjust`: what was known before
    the session; `by`: the same for groups, the primary contrast in each by itself. Ranges, "less than" and "more than"
    enter as such; sessions with no yield are a part of their own; words are never turned into numbers. Classes with
    fewer than 5 sessions or 3 patients are counted and not modelled. Yields are amounts in `unit`, ratios have none.
    Raises DesignError for what is recorded after the session, ChoiceError for a name that is not on its list.

    Counted: necrosectomies with an amount in the unit asked for, in which one class alone was used (or as the rule
        says).
    Source: Satterthwaite, Biometrics Bull 1946;2:110 (degrees of freedom); Bell and McCaffrey, Survey Methodology
        2002;28:169 (errors clustered by patient in small samples); Mundlak, Econometrica 1978;46:69 (within-patient
        terms); VanderWeele and Ding, Ann Intern Med 2017;167:268 (E-value).
    """
    rule, names = rule_named(rule), adjustment_names(adjust)
    found = debridements(registry)
    unit = known_unit(unit, found)
    per = known_per(per, rule)
    pair = {"reference": class_place(reference), "primary": class_place(primary)}
    whole = setting(registry, found, rule, unit=unit, per=per, level=level, **pair)
    parts = list(_parts(whole, names, by))
    words = list(word_contrasts(whole)) if per == "session" and by is None else []
    table = _table([*(row for part in parts for row in _rows(part, unit)), *map(_word_row, words)])
    named = bool(reference and primary)
    notes = (*_notes(whole, parts, found, named), *(note for each in words for note in each.notes))
    return YieldComparison(
        title=f"Yield by instrument class{_per(per)}{f', by {_plain(by)}' if by else ''}: {rule.name}",
        frame=table,
        cells=class_record(found, whole),
        amounts=amounts_of(whole),
        reference=_name(whole.reference),
        chosen=_name(whole.primary),
        population=_population(whole),
        method=_method(whole, names, level),
        notes=notes,
    )


def _plain(name: str) -> str:
    return name.replace("_", " ")


def _per(per: str) -> str:
    return "" if per == "session" else f" per {per}"


def _name(place: int | None) -> str:
    return "" if place is None else COMPARED_CLASSES[place]


def _parts(whole: Setting, names: Sequence[str], by: str | None) -> Iterator[_Part]:
    variable = variable_of(whole.rows.unit, whole.rows.per)
    if by is None:
        yield _part(variable, whole, names)
        return
    chosen = group_name(by)
    codes, labels = banded(whole.registry, whole.found, chosen)
    for place, label in enumerate(labels):
        if not (codes[whole.rows.row] == place).any():
            continue
        here = setting(
            whole.registry,
            whole.found,
            whole.rule,
            unit=whole.rows.unit,
            per=whole.rows.per,
            level=whole.level,
            reference=whole.reference,
            primary=whole.primary,
            among=codes == place,
            pair_only=True,
        )
        yield _part(f"{variable}, {_plain(chosen)} {label}", here, [name for name in names if name != chosen])


def _part(variable: str, asked: Setting, names: Sequence[str]) -> _Part:
    return _Part(
        variable=variable,
        asked=asked,
        models={kind: compared(asked, kind, names, exchanged=kind == WITHIN) for kind in KINDS},
    )


def _rows(part: _Part, unit: str) -> Iterator[dict]:
    for place in part.asked.others:
        for kind, model in part.models.items():
            yield _row(part, place, measure_of(kind, unit), model.differences.get(place, Difference()), model)
    if part.asked.rows.per == "session":
        yield from _zeros(part)


def _row(part: _Part, place: int, measure: str, found: Difference, model: Compared) -> dict:
    asked = part.asked
    unmeasured = _unmeasured(found, model)
    return {
        "group": _name(place),
        "reference": _name(asked.reference),
        "measure": measure,
        "estimate": np.exp(found.estimate),
        "low": np.exp(found.low),
        "high": np.exp(found.high),
        "statistic": found.statistic,
        "p_value": found.p_value if place == asked.primary and model.kind == INTERCEPT else np.nan,
        "variable": part.variable,
        "sessions": model.sessions.get(place, 0),
        "patients": model.patients.get(place, 0),
        "sessions_ref": model.sessions.get(asked.reference, 0),
        "patients_ref": model.patients.get(asked.reference, 0),
        "primary": place == asked.primary,
        "df": found.df,
        "adjusted_for": ", ".join(model.adjusted_for),
        "permutation_p": model.permutation_p if place == asked.primary else np.nan,
        "e_value": unmeasured.estimate,
        "e_value_limit": unmeasured.limit,
    }


def _unmeasured(found: Difference, model: Compared) -> EValue:
    """The E-value of an adjusted ratio; NaN of any other, and where there is no interval."""
    if model.kind != INTERCEPT or np.isnan(found.error):
        return EValue(estimate=np.nan, limit=np.nan)
    return e_value_of_difference(found.estimate, found.low, found.high, model.spread)


def _zeros(part: _Part) -> Iterator[dict]:
    """The first of the two parts: how often there was some yield at all; nothing where there always was."""
    asked, member = part.asked, part.asked.member
    for place in asked.others:
        here = member[:, place] ^ member[:, asked.reference]
        nothing = asked.rows.nothing[here]
        if not nothing.any():
            continue
        one, whose = member[here, place], asked.rows.patient[here]
        found = _share_difference(~nothing, one, whose, asked.level)
        yield {
            **dict.fromkeys(COLUMNS, np.nan),
            "group": _name(place),
            "reference": _name(asked.reference),
            "measure": NO_YIELD,
            "estimate": found.estimate,
            "low": found.low,
            "high": found.high,
            "variable": part.variable,
            "sessions": int(one.sum()),
            "patients": np.unique(whose[one]).size,
            "sessions_ref": int((~one).sum()),
            "patients_ref": np.unique(whose[~one]).size,
            "primary": place == asked.primary,
            "adjusted_for": "",
        }


def _word_row(word: WordContrast) -> dict:
    return {
        **dict.fromkeys(COLUMNS, np.nan),
        "group": _name(word.place),
        "reference": _name(word.reference),
        "measure": IN_WORDS,
        "estimate": np.exp(word.found.estimate),
        "low": np.exp(word.found.low),
        "high": np.exp(word.found.high),
        "statistic": word.found.statistic,
        "variable": "yield, in words only",
        "sessions": word.sessions[0],
        "sessions_ref": word.sessions[1],
        "patients": word.patients[0],
        "patients_ref": word.patients[1],
        "primary": word.primary,
        "df": word.found.df,
        "adjusted_for": "",
    }


def _share_difference(some: np.ndarray, one: np.ndarray, patient: np.ndarray, level: float) -> Interval | Contrast:
    """Clustered by patient where both classes had sessions with and without a yield; else by the score interval."""
    if all(0 < some[here].sum() < here.sum() for here in (one, ~one)):
        return share_difference(some, one, patient, level=level)
    counts = (some[one].sum(), one.sum(), some[~one].sum(), (~one).sum())
    return risk_difference(*(int(each) for each in counts), level=level)


def _table(rows: list[dict]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in ("estimate", "low", "high", "statistic", "p_value", "df", "e_value", "e_value_limit", "permutation_p"):
        table[name] = table[name].astype("float64")
    for name in ("sessions", "patients", "sessions_ref", "patients_ref"):
        table[name] = table[name].astype("int64")
    table["primary"] = table["primary"].astype(bool)
    for name in ("group", "measure", "variable"):
        table[name] = pd.Categorical(table[name], categories=list(dict.fromkeys(table[name])), ordered=True)
    return table


def _population(asked: Setting) -> Population:
    return Population(
        patients=np.unique(asked.rows.patient).size,
        sessions=np.unique(asked.rows.row).size,
        left_out=asked.rows.left_out,
    )


def _method(asked: Setting, names: Sequence[str], level: float) -> Method:
    share = asked.rows.unit == PERCENT
    what = "ratio of the odds of cleared necrosis" if share else "ratio of geometric mean yields"
    per = "session" if asked.rows.per == "session" else f"{asked.rows.per} of debridement"
    given = f", given {', '.join(names)}" if names else ""
    return Method(
        estimand=f"{what} per {per} between a class of instrument and {class_or_none(asked.reference)}, in sessions "
        f"with some yield{given}",
        estimator=f"{'logit' if share else 'log'}-normal model with an intercept for each patient (crude: without, and "
        "without adjustment; within patients: with each column split into the patient's mean and the deviation from "
        "it); restricted maximum likelihood where every yield is one number, else maximum likelihood in which ranges, "
        "less than and more than enter as intervals",
        interval="t limits on the scale of the model; crude: errors clustered by patient; the permutation test "
        "exchanges class labels within patients, of what the adjustments leave unexplained",
        level=level,
        definition=f"rule for shared sessions: {asked.rule.sentence}; lavage and peroxide are adjuncts and never "
        "compared; sessions with no yield at all are counted apart; units are never pooled; yields recorded by "
        "instrument come before those of the session where every instrument has one. An association: instruments "
        "were chosen, not assigned, and more removed has not been shown to be better",
        references=REFERENCES,
    )


def class_or_none(place: int | None) -> str:
    """A class in words, or "another"."""
    return "another" if place is None else class_name(place)


def _notes(asked: Setting, parts: list[_Part], found: Debridements, named: bool) -> tuple[Note, ...]:
    rows = asked.rows
    small = [class_name(cell.place) for cell in asked.cells if cell.sessions and not cell.large_enough]
    one_sided = [class_name(cell.place) for cell in asked.cells if cell.large_enough and cell.one_sided]
    shared = int(np.count_nonzero(found.classes > 1))
    ranged = int(np.count_nonzero(rows.low != rows.high))
    nothing = int(np.count_nonzero(rows.nothing))
    others = int(np.count_nonzero(found.numbered & (found.unit != UNITS.index(rows.unit))))
    contrasts = len(asked.others)
    said = {
        "SHARED_SESSIONS": shared
        and f"{shared:,} of {found.session.size:,} necrosectomies used more than one class of instrument; "
        f"here {asked.rule.sentence}.",
        "NO_OVERLAP": not contrasts and _nothing_to_compare(asked, found),
        "INTERVAL_CENSORED": ranged
        and f"{ranged:,} of {counted(rows.low.size, 'yield', 'yields')} were written as a range, or as less or more "
        "than a number, and are used as such.",
        "ZERO_YIELD": nothing
        and f"{counted(nothing, 'session', 'sessions')} with no yield at all: compared apart, not in the ratios.",
        "SMALL_N": (small or one_sided) and _too_thin(small, one_sided),
        "MISSING": _missing(asked, found, others),
        "FEW_CLUSTERS": (_few(rows.patient) if contrasts else "") or _crowded(rows.patient),
        "MULTIPLICITY": contrasts and _primary(asked, contrasts, named),
    }
    own = [Note(code=code, text=text) for code, text in said.items() if text]
    of_models = [note for part in parts for model in part.models.values() for note in model.notes]
    return tuple(dict.fromkeys((*own, *of_models)))


def _few(patient: np.ndarray) -> str:
    """That there are few patients, which makes limits that allow for them approximate; "" where there are enough."""
    patients = np.unique(patient).size
    text = (
        f"Only {counted(patients, 'patient', 'patients')}: limits that allow for several sessions of one patient are "
        f"approximate with fewer than {FEW}."
    )
    return text * (patients < FEW)


def _crowded(patient: np.ndarray) -> str:
    """That one patient gave a third or more of the sessions; "" where none did."""
    most, n = int(np.bincount(patient).max(initial=0)), patient.size
    if n < FEWEST_SESSIONS or most < CROWDED * n or most < 2:
        return ""
    return (
        f"One patient gave {most:,} of the {n:,} yields: crude ratios rest on that patient more than on any other, and "
        "intervals are too short if that patient is unlike the rest."
    )


def _primary(asked: Setting, contrasts: int, named: bool) -> str:
    """Which contrast is primary, who chose it, and what the others are."""
    pair = f"{class_or_none(asked.primary)} v {class_or_none(asked.reference)}"
    who = (
        f"The primary contrast is {pair}, as named."
        if named
        else f"No pair of classes was named, so the primary contrast is that of those with most sessions, {pair}: name "
        "the pair before looking at any result."
    )
    rest = counted(contrasts - 1, "other contrast is", "other contrasts are")
    more = f" The {rest} exploratory, without p-values, and with intervals that are not adjusted for their number."
    return who + more * (contrasts > 1)


def _too_thin(small: list[str], one_sided: list[str]) -> str:
    said = []
    if small:
        said.append(
            f"Fewer than {FEWEST_SESSIONS} sessions with a yield, or {FEWEST_PATIENTS} patients, so counted and not "
            f"compared: {', '.join(small)}."
        )
    if one_sided:
        said.append(f"Every yield is a limit on the same side, so no mean can be told: {', '.join(one_sided)}.")
    return " ".join(said)


def _nothing_to_compare(asked: Setting, found: Debridements) -> str:
    """Why there is no ratio at all."""
    used = [place for place in range(len(COMPARED_CLASSES)) if found.used[:, place].any()]
    fit = asked.modelled
    if not found.session.size:
        return "There are no necrosectomies: nothing can be compared."
    if not used:
        return "No class of instrument is recorded for any necrosectomy: nothing can be compared."
    if len(used) == 1:
        return f"Only one class of instrument was used, {class_name(used[0])}: there is nothing to compare it with."
    if not found.numbered.any():
        words = int(np.count_nonzero(found.word >= 0))
        way = f"all {words:,} are words" if words else "none is written"
        return f"No yield is written as a number ({way}): no amount can be compared."
    if not fit:
        return f"No class has enough yields in {UNIT_NAMES[asked.rows.unit]} to be compared."
    if asked.reference not in fit:
        return f"The reference, {class_or_none(asked.reference)}, has too few yields to be compared with."
    return f"Only {class_name(fit[0])} has enough yields in {UNIT_NAMES[asked.rows.unit]}: nothing to compare it with."


def _missing(asked: Setting, found: Debridements, others: int) -> str:
    said = []
    for place in dict.fromkeys(each for each in (asked.primary, asked.reference) if each is not None):
        here = found.used[:, place]
        without = int((here & ~found.numbered).sum())
        if without:
            said.append(f"{class_name(place)} {without:,} of {int(here.sum()):,}")
    text = f"Necrosectomies without a yield in numbers, by class used: {', '.join(said)}." if said else ""
    if others:
        text += f" {counted(others, 'yield is', 'yields are')} in another unit and never pooled with these."
    return text.strip()
