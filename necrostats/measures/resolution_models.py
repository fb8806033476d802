"""What goes with resolution over time, in two ways: the rate among those still unresolved, and the share resolved."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.model_terms import Ratios, Terms, rows_of, table_of, terms_of
from necrostats.measures.needs import needing, of_resolution
from necrostats.measures.resolution import DAYS, CoursesAlong, competing, courses_along
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Method, Note, Population
from necrostats.stats.cox import cox
from necrostats.stats.subdistribution import fine_gray

CAUSE_SPECIFIC, SUBDISTRIBUTION = "cause-specific hazard ratio", "subdistribution hazard ratio"
WHICH = (
    "The cause-specific ratio compares how fast resolution comes among those still unresolved, and is the one for what "
    "acts on resolution; the subdistribution ratio compares the share resolved by any day, deaths and interventions "
    "included, and is the one for what to expect. They differ where a covariate also goes with the other ends."
)
REFERENCES = (
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
    rate, share = _fitted(courses, terms, level)
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
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=_notes(terms, rate, share, courses),
    )


def _fitted(courses: CoursesAlong, terms: Terms, level: float) -> tuple[Ratios, Ratios]:
    if not terms.enough or not (courses.cause[terms.counted] == 1).any():
        return Ratios.none(len(terms.levels)), Ratios.none(len(terms.levels))
    time, cause, x = courses.time[terms.counted], courses.cause[terms.counted], terms.design
    return (
        Ratios.of(cox(time, cause == 1, x, level=level), terms),
        Ratios.of(fine_gray(time, cause, x, level=level), terms),
    )


def _notes(terms: Terms, rate: Ratios, share: Ratios, courses: CoursesAlong) -> tuple[Note, ...]:
    none = terms.enough and not (courses.cause[terms.counted] == 1).any()
    nobody = (Note(code="ZERO_EVENTS", text="Nobody in the model was resolved: there is no hazard to compare."),)
    return tuple(dict.fromkeys((*terms.notes, *(nobody if none else ()), *rate.notes, *share.notes, *courses.notes)))
