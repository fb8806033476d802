"""How many sessions it takes: the incidence of resolution by necrosectomy session, with competing ends."""

from __future__ import annotations

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.curves import incidence
from necrostats.measures.resolution import competing, incidence_method
from necrostats.measures.resolution_axis import SESSIONS, courses_along
from necrostats.registry.tables import Registry
from necrostats.results import Curves

NAMED_SESSIONS = tuple(range(9))
RISK_SET = (
    "a patient under treatment is at risk at k only if something after session k showed whether it was enough"
)


def sessions_to_resolution(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    up_to: int = NAMED_SESSIONS[-1],
) -> Curves:
    """Probability of being resolved within k necrosectomies, k = 0, 1, 2 …, deaths and interventions competing.

    k = 0 means drainage alone was enough. A patient still under treatment after k sessions is at risk at k only if a
    scan or review after session k showed whether it was enough; otherwise the patient leaves before k. A patient some
    of whose sessions were set aside is censored at the sessions that are known.
    """
    courses = courses_along(registry, SESSIONS, by, definition)
    landmarks = tuple(range(up_to + 1))
    curve = incidence(
        courses.time, courses.cause, courses.groups, courses.ends.causes, axis=SESSIONS, landmarks=landmarks,
        level=level,
    )  # fmt: skip
    return Curves(
        title="Sessions to documented resolution",
        table=curve.table,
        medians=curve.medians,
        landmarks=landmarks,
        population=courses.population,
        method=incidence_method(
            f"probability of being resolved within k necrosectomies, with {competing(courses.ends)} competing",
            f"Aalen–Johansen on the session number; {RISK_SET}",
            level,
            definition,
        ),
        notes=(*curve.notes, *courses.notes),
    )
