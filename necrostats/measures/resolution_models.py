"""What goes with resolution over time, and at the next session given none so far.

Over time by two models: the rate among those still unresolved, and the share resolved. The covariates of each: who
is in it, the indicators of their levels, the rows of its table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.needs import HELD, needing, of_resolution, resolution_and
from necrostats.measures.resolution import DAYS, NAMED_TAU, SESSIONS, CoursesAlong, competing, courses_along
from necrostats.measures.resolution_contrasts import FEWEST_FOR_A_MODEL, named
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Method, Note, Population
from necrostats.stats.cox import cox
from necrostats.stats.discrete_hazard import LINKS, discrete_hazard
from necrostats.stats.subdistribution import fine_gray

FEWEST_IN_A_LEVEL = 5
COLUMNS = (*Comparison.columns, "variable", "unit", "events", "n", "events_ref", "n_ref", "test", "limits")


@dataclass(frozen=True, kw_only=True, eq=False)
class Level:
    """One indicator: the covariate, its level and reference, and who (n,) has each."""

    covariate: str
    level: str
    reference: str
    here: np.ndarray
    there: np.ndarray

    @property
    def name(self) -> str:
        """The covariate and its level in words."""
        return f"{self.covariate.replace('_', ' ')} {self.level}"


@dataclass(frozen=True, kw_only=True, eq=False)
class Terms:
    """Covariates by name, their levels, who is in the model (n,), who lacks a value of one (n,), and notes."""

    names: tuple[str, ...]
    levels: tuple[Level, ...]
    counted: np.ndarray
    unknown: np.ndarray
    notes: tuple[Note, ...]

    @property
    def enough(self) -> bool:
        """Whether a model can be fitted at all."""
        return bool(self.levels) and np.count_nonzero(self.counted) >= FEWEST_FOR_A_MODEL

    @property
    def design(self) -> np.ndarray:
        """The indicators of those who are in the model, a column a level."""
        return np.stack([each.here[self.counted] for each in self.levels], axis=1).astype(float)

    @property
    def words(self) -> str:
        """The covariates as a list."""
        return ", ".join(name.replace("_", " ") for name in self.names)

    def left_out(self, courses: CoursesAlong) -> dict[str, int]:
        """Who is not in the model, and why."""
        thin = courses.known & ~self.unknown & ~self.counted
        return {
            **courses.left_out,
            "patients without a value of every covariate": int(np.count_nonzero(self.unknown)),
            f"patients in levels of fewer than {FEWEST_IN_A_LEVEL}": int(np.count_nonzero(thin)),
        }


@dataclass(frozen=True, kw_only=True, eq=False)
class Ratios:
    """Ratios with limits, z and p-values (p,), NaN where there is no model."""

    ratio: np.ndarray
    low: np.ndarray
    high: np.ndarray
    z: np.ndarray
    p_value: np.ndarray
    notes: tuple[Note, ...] = ()

    @classmethod
    def none(cls, p: int) -> Ratios:
        """No model."""
        unknown = np.full(p, np.nan)
        return cls(ratio=unknown, low=unknown, high=unknown, z=unknown, p_value=unknown)

    @classmethod
    def of(cls, fit, terms: Terms) -> Ratios:
        """From a fit with log ratios, their limits, errors and p-values."""
        return cls(
            ratio=np.exp(fit.coefficient),
            low=np.exp(fit.low),
            high=np.exp(fit.high),
            p_value=fit.p_value,
            z=fit.coefficient / fit.std_error,
            notes=named(fit.notes, [each.name for each in terms.levels]),
        )


def terms_of(registry: Registry, covariates: Sequence[str], courses: CoursesAlong) -> Terms:
    """The terms of covariates known at the index drainage. DesignError for what is known only later, ChoiceError for a
    name that is not on its list, or none."""
    chosen = (covariates,) if isinstance(covariates, str) else tuple(dict.fromkeys(covariates))
    if not chosen:
        raise ChoiceError('covariates is empty: name at least one, such as covariates=("infection",).')
    groupings = {name: patient_groups(registry, name) for name in chosen}
    counted, thin = _counted(courses.known, groupings)
    levels = tuple(each for name, groups in groupings.items() for each in _levels(name, groups, counted))
    return Terms(
        names=chosen,
        levels=levels,
        counted=counted,
        unknown=courses.known & np.any([each.codes < 0 for each in groupings.values()], axis=0),
        notes=(*_small(counted, levels), *thin),
    )


def _counted(known: np.ndarray, groupings: Mapping[str, Grouping]) -> tuple[np.ndarray, tuple[Note, ...]]:
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


def _levels(name: str, groups: Grouping, counted: np.ndarray) -> list[Level]:
    filled = np.unique(groups.codes[counted])
    return [
        Level(
            covariate=name,
            level=groups.labels[place],
            reference=groups.labels[filled[0]],
            here=counted & (groups.codes == place),
            there=counted & (groups.codes == filled[0]),
        )
        for place in filled[1:]
    ]


def rows_of(courses: CoursesAlong, terms: Terms, fit: Ratios, measure: str, limits: str) -> list[dict]:
    """A row a level, for one measure."""
    resolved = courses.cause == 1
    return [
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
            "limits": limits,
        }
        for place, each in enumerate(terms.levels)
    ]


def table_of(rows: Sequence[dict]) -> pd.DataFrame:
    """The rows as the table of a Comparison."""
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in ("estimate", "low", "high", "statistic", "p_value"):
        table[name] = table[name].astype("float64")
    for name in ("events", "n", "events_ref", "n_ref"):
        table[name] = table[name].astype("int64")
    for name in ("group", "reference", "variable"):
        table[name] = pd.Categorical(table[name], categories=list(dict.fromkeys(table[name])), ordered=True)
    return table


def _small(counted: np.ndarray, levels: Sequence[Level]) -> tuple[Note, ...]:
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


CAUSE_SPECIFIC, SUBDISTRIBUTION = "cause-specific hazard ratio", "subdistribution hazard ratio"
WHICH = (
    "The cause-specific ratio compares how fast resolution comes among those still unresolved, and is the one for what "
    "acts on resolution; the subdistribution ratio compares the share resolved by any day, deaths and interventions "
    "included, and is the one for what to expect. They differ where a covariate also goes with the other ends."
)
OVER_TIME_REFERENCES = (
    "Fine and Gray, J Am Stat Assoc 1999;94:496",
    "Latouche et al, J Clin Epidemiol 2013;66:648",
)


@needing("Resolution, modelled in two ways", of_resolution)
def resolution_models(
    registry: Registry,
    *,
    covariates: Sequence[str],
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> Comparison:
    """Each level of each covariate against its first with anybody in it, by Cox's model of the cause-specific hazard
    and by Fine and Gray's of the subdistribution, given the other covariates.

    `covariates` are known at the index drainage, as `by` elsewhere. Patients without a value are left out, counted;
    levels of fewer than 5 patients leave the model with their patients; fewer than 10 patients, or 5 resolutions a
    coefficient: no model, and a note. Raises DesignError for what is known only later, ChoiceError for a name that is
    not on its list.

    Counted: patients with an index drainage and a value for every covariate.
    Source: Fine and Gray, J Am Stat Assoc 1999;94:496; Latouche et al, J Clin Epidemiol 2013;66:648.
    """
    courses = courses_along(registry, DAYS, None, definition)
    terms = terms_of(registry, covariates, courses)
    rate, share = _fitted_over_time(courses, terms, level)
    rows = [
        *rows_of(courses, terms, rate, CAUSE_SPECIFIC, "normal limits on the log scale"),
        *rows_of(courses, terms, share, SUBDISTRIBUTION, "robust normal limits on the log scale"),
    ]
    return Comparison(
        title=f"Resolution over time, by {terms.words}, modelled in two ways",
        frame=table_of(rows),
        population=Population(patients=int(np.count_nonzero(terms.counted)), left_out=terms.left_out(courses)),
        method=Method(
            estimand="ratio of the hazards of documented resolution between patients who differ in one covariate, "
            f"{competing(courses.causes)} taken as ends (cause-specific) or as never resolving (subdistribution)",
            estimator="Cox's model with Efron's ties; Fine and Gray's model weighted by the censoring distribution",
            interval="normal limits on the log scale; robust for Fine and Gray's model",
            level=level,
            definition=f"{definition.sentence()} {WHICH} An association: nothing here was assigned.",
            references=(*OVER_TIME_REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=_over_time_notes(terms, rate, share, courses),
    )


def _fitted_over_time(courses: CoursesAlong, terms: Terms, level: float) -> tuple[Ratios, Ratios]:
    if not terms.enough or not (courses.cause[terms.counted] == 1).any():
        return Ratios.none(len(terms.levels)), Ratios.none(len(terms.levels))
    time, cause, x = courses.time[terms.counted], courses.cause[terms.counted], terms.design
    return (
        Ratios.of(cox(time, cause == 1, x, level=level), terms),
        Ratios.of(fine_gray(time, cause, x, level=level), terms),
    )


def _over_time_notes(terms: Terms, rate: Ratios, share: Ratios, courses: CoursesAlong) -> tuple[Note, ...]:
    none = terms.enough and not (courses.cause[terms.counted] == 1).any()
    nobody = (Note(code="ZERO_EVENTS", text="Nobody in the model was resolved: there is no hazard to compare."),)
    return tuple(dict.fromkeys((*terms.notes, *(nobody if none else ()), *rate.notes, *share.notes, *courses.notes)))


BY_SESSION_MEASURES = {
    "cloglog": "hazard ratio of resolution, per session",
    "logit": "odds ratio of resolution, per session",
}
BY_SESSION_REFERENCES = (
    "Prentice and Gloeckler, Biometrics 1978;34:57",
    "Allison, Sociol Methodol 1982;13:61",
)


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

    Counted: patients and session numbers at risk, by the rule of sessions_to_resolution.
    Source: Prentice and Gloeckler, Biometrics 1978;34:57; Allison, Sociol Methodol 1982;13:61.
    """
    if link not in LINKS:
        raise unknown_choice("link", link, LINKS)
    courses = courses_along(registry, SESSIONS, None, definition)
    terms = terms_of(registry, covariates, courses)
    fit = _fitted_by_session(courses, terms, link, level)
    return Comparison(
        title=f"Resolution at each session, by {terms.words}",
        frame=table_of(rows_of(courses, terms, fit, BY_SESSION_MEASURES[link], "normal limits on the log scale")),
        population=Population(
            patients=int(np.count_nonzero(terms.counted)), sessions=None, left_out=terms.left_out(courses)
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
            references=(*BY_SESSION_REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=tuple(dict.fromkeys((*terms.notes, *fit.notes, *courses.notes))),
    )


def _fitted_by_session(courses: CoursesAlong, terms: Terms, link: str, level: float) -> Ratios:
    if not terms.enough:
        return Ratios.none(len(terms.levels))
    who = terms.counted
    fit = discrete_hazard(
        courses.time[who],
        courses.cause[who] == 1,
        terms.design,
        link=link,
        first=0,
        cap=NAMED_TAU[SESSIONS],
        level=level,
    )
    return Ratios.of(fit, terms)
