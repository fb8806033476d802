"""What goes with resolution at the next session, given none so far: a model of person-sessions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.needs import HELD, needing, resolution_and
from necrostats.measures.resolution import NAMED_TAU, SESSIONS, CoursesAlong, competing, courses_along
from necrostats.measures.resolution_comparison import FEWEST_FOR_A_MODEL, named
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Method, Note, Population
from necrostats.stats.discrete_hazard import LINKS, DiscreteHazard, discrete_hazard

MEASURES = {"cloglog": "hazard ratio of resolution, per session", "logit": "odds ratio of resolution, per session"}
FEWEST_IN_A_LEVEL = 5
COLUMNS = (*Comparison.columns, "variable", "unit", "events", "n", "events_ref", "n_ref", "test", "limits")
REFERENCES = (
    "Prentice and Gloeckler, Biometrics 1978;34:57",
    "Allison, Sociol Methodol 1982;13:61",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Level:
    """One indicator: the covariate, its level and reference, and who (n,) has each."""

    covariate: str
    level: str
    reference: str
    here: np.ndarray
    there: np.ndarray


@needing("Resolution at each session", resolution_and(HELD))
def session_regression(
    registry: Registry,
    *,
    covariates: Sequence[str],
    link: str = "cloglog",
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> Comparison:
    """Each level of each covariate against its first with anybody in it, given the others and the session number.

    `covariates` are known at the index drainage, as `by` elsewhere. `link`: "cloglog" (hazard ratios) or "logit" (odds
    ratios); a patient is at risk at k by the rule of sessions_to_resolution, from k = 0, and session 8 and later share
    a term. Other ends count as not resolved. Patients without a value are left out, counted. Levels of fewer than 5
    patients leave the model with their patients; fewer than 10 patients, or 5 resolutions a coefficient: no model.
    Raises DesignError for what is known only later, ChoiceError for a name that is not on its list.
    """
    if link not in LINKS:
        raise unknown_choice("link", link, LINKS)
    chosen = (covariates,) if isinstance(covariates, str) else tuple(dict.fromkeys(covariates))
    if not chosen:
        raise ChoiceError('covariates is empty: name at least one, such as covariates=("infection",).')
    courses = courses_along(registry, SESSIONS, None, definition)
    groupings = {name: patient_groups(registry, name) for name in chosen}
    counted, thin = _counted(courses.known, groupings)
    levels = [each for name, groups in groupings.items() for each in _levels(name, groups, counted)]
    fit = _fitted(courses, levels, counted, link, level)
    table = _table(courses, levels, fit, counted, MEASURES[link])
    unknown = courses.known & np.any([each.codes < 0 for each in groupings.values()], axis=0)
    names = ", ".join(name.replace("_", " ") for name in chosen)
    return Comparison(
        title=f"Resolution at each session, by {names}",
        frame=table,
        population=Population(
            patients=int(np.count_nonzero(counted)),
            sessions=None,
            left_out={
                **courses.left_out,
                "patients without a value of every covariate": int(np.count_nonzero(unknown)),
                f"patients in levels of fewer than {FEWEST_IN_A_LEVEL}": int(
                    np.count_nonzero(courses.known & ~unknown & ~counted)
                ),
            },
        ),
        method=Method(
            estimand="ratio of the chances of being resolved after a session, given not before it, between patients "
            f"who differ in one covariate; {competing(courses.causes)} count as not resolved",
            estimator=f"{'complementary log-log' if link == 'cloglog' else 'logit'} model of person-sessions, a term "
            f"for each session number up to {NAMED_TAU[SESSIONS]}, adjusted for the other covariates",
            interval="normal limits on the log scale; each patient is resolved once at most, so ordinary errors hold",
            level=level,
            definition=f"{definition.sentence()} An association: nothing here was assigned. Counts are of patients "
            "resolved while observed.",
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=tuple(dict.fromkeys((*_small(counted, levels), *thin, *fit.notes, *courses.notes))),
    )


def _counted(known: np.ndarray, groupings: dict[str, Grouping]) -> tuple[np.ndarray, tuple[Note, ...]]:
    """Who is in the model (n,), with a value of every covariate and in no level of fewer than 5; and what was lost."""
    counted = known & np.all([each.codes >= 0 for each in groupings.values()], axis=0)
    lost: list[str] = []
    while True:
        thin = np.zeros(known.size, dtype=bool)
        for name, groups in groupings.items():
            sizes = np.bincount(groups.codes[counted], minlength=len(groups.labels))
            few = np.flatnonzero((sizes > 0) & (sizes < FEWEST_IN_A_LEVEL))
            lost += [f"{name.replace('_', ' ')} {groups.labels[place]} ({sizes[place]})" for place in few]
            thin |= counted & np.isin(groups.codes, few)
        if not thin.any():
            break
        counted = counted & ~thin
    text = f"Levels of fewer than {FEWEST_IN_A_LEVEL} patients are not in the model: {', '.join(lost)}."
    return counted, (Note(code="SMALL_N", text=text),) if lost else ()


def _levels(name: str, groups: Grouping, counted: np.ndarray) -> list[_Level]:
    filled = np.unique(groups.codes[counted])
    return [
        _Level(
            covariate=name,
            level=groups.labels[place],
            reference=groups.labels[filled[0]],
            here=counted & (groups.codes == place),
            there=counted & (groups.codes == filled[0]),
        )
        for place in filled[1:]
    ]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fit:
    """Ratios with limits, z and p-values (p,), NaN where there is no model."""

    ratio: np.ndarray
    low: np.ndarray
    high: np.ndarray
    z: np.ndarray
    p_value: np.ndarray
    notes: tuple[Note, ...] = ()


def _fitted(courses: CoursesAlong, levels: list[_Level], counted: np.ndarray, link: str, level: float) -> _Fit:
    if not levels or np.count_nonzero(counted) < FEWEST_FOR_A_MODEL:
        none = np.full(len(levels), np.nan)
        return _Fit(ratio=none, low=none, high=none, z=none, p_value=none)
    x = np.stack([each.here[counted] for each in levels], axis=1).astype(float)
    fit: DiscreteHazard = discrete_hazard(
        courses.time[counted], courses.cause[counted] == 1, x, link=link, first=0, cap=NAMED_TAU[SESSIONS], level=level
    )
    names = [f"{each.covariate.replace('_', ' ')} {each.level}" for each in levels]
    return _Fit(
        ratio=np.exp(fit.coefficient),
        low=np.exp(fit.low),
        high=np.exp(fit.high),
        p_value=fit.p_value,
        z=fit.coefficient / fit.std_error,
        notes=named(fit.notes, names),
    )


def _table(courses: CoursesAlong, levels: list[_Level], fit: _Fit, counted: np.ndarray, measure: str) -> pd.DataFrame:
    resolved = courses.cause == 1
    rows = [
        {
            "group": each.level,
            "reference": each.reference,
            "measure": measure,
            "estimate": fit.ratio[place],
            "low": fit.low[place],
            "high": fit.high[place],
            "statistic": fit.z[place],
            "p_value": fit.p_value[place],
            "variable": each.covariate,
            "unit": "patients",
            "events": int((each.here & resolved).sum()),
            "n": int(each.here.sum()),
            "events_ref": int((each.there & resolved).sum()),
            "n_ref": int(each.there.sum()),
            "test": "Wald test",
            "limits": "normal limits on the log scale",
        }
        for place, each in enumerate(levels)
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in ("estimate", "low", "high", "statistic", "p_value"):
        table[name] = table[name].astype("float64")
    for name in ("events", "n", "events_ref", "n_ref"):
        table[name] = table[name].astype("int64")
    for name in ("group", "reference", "variable"):
        table[name] = pd.Categorical(table[name], categories=list(dict.fromkeys(table[name])), ordered=True)
    return table


def _small(counted: np.ndarray, levels: list[_Level]) -> tuple[Note, ...]:
    patients = int(np.count_nonzero(counted))
    notes = []
    if patients < FEWEST_FOR_A_MODEL:
        text = f"Only {patients} patients: no model is fitted to fewer than {FEWEST_FOR_A_MODEL}."
        notes.append(Note(code="SMALL_N", text=text))
    if not levels:
        text = "No covariate has two levels with enough patients: there is nothing to compare."
        notes.append(Note(code="NO_OVERLAP", text=text))
    if len(levels) > 1:
        text = f"Exploratory: {len(levels)} contrasts; neither p-values nor intervals are adjusted for their number."
        notes.append(Note(code="MULTIPLICITY", text=text))
    return tuple(notes)
