"""What goes with resolution at the next session, given none so far: a model of person-sessions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import unknown_choice
from necrostats.measures.model_terms import Ratios, Terms, rows_of, table_of, terms_of
from necrostats.measures.needs import HELD, needing, resolution_and
from necrostats.measures.resolution import NAMED_TAU, SESSIONS, CoursesAlong, competing, courses_along
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Method, Population
from necrostats.stats.discrete_hazard import LINKS, discrete_hazard

MEASURES = {"cloglog": "hazard ratio of resolution, per session", "logit": "odds ratio of resolution, per session"}
REFERENCES = (
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
    fit = _fitted(courses, terms, link, level)
    return Comparison(
        title=f"Resolution at each session, by {terms.words}",
        frame=table_of(rows_of(courses, terms, fit, MEASURES[link], "normal limits on the log scale")),
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
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=tuple(dict.fromkeys((*terms.notes, *fit.notes, *courses.notes))),
    )


def _fitted(courses: CoursesAlong, terms: Terms, link: str, level: float) -> Ratios:
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
