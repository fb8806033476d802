"""Where patients stand after each necrosectomy: resolved, still needing more, or ended otherwise."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import Outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.curves import incidence
from necrostats.measures.event_free import event_free
from necrostats.measures.resolution import incidence_method
from necrostats.measures.resolution_axis import SESSIONS, courses_along
from necrostats.measures.sessions import NAMED_SESSIONS, RISK_SET
from necrostats.registry.tables import Registry
from necrostats.results import Curves

STILL = "still needing more"


def session_states(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    up_to: int = NAMED_SESSIONS[-1],
) -> Curves:
    """Share of patients resolved, still needing more, and ended otherwise after k necrosectomies, k = 0, 1, 2 …

    The incidence of `sessions_to_resolution` with all competing ends in one, and what remains: the three add up to 1.
    Patients enter and leave the risk set by the same rule.
    """
    courses = courses_along(registry, SESSIONS, by, definition)
    otherwise = _otherwise(courses.ends)
    merged, causes = np.minimum(courses.cause, 2), ("resolved", otherwise)
    axis = {"axis": SESSIONS, "landmarks": tuple(range(up_to + 1)), "level": level}
    curve = incidence(courses.time, merged, courses.groups, causes, **axis)
    left = event_free(courses.time, merged > 0, courses.groups, STILL, **axis)
    return Curves(
        title="Where patients stand after each necrosectomy",
        table=_joined(curve.table, left.table, (*causes, STILL)),
        medians=curve.medians,
        landmarks=axis["landmarks"],
        remaining=STILL,
        population=courses.population,
        method=incidence_method(
            f"share of patients resolved, still needing more, and ended by {otherwise}, after k necrosectomies",
            f"Aalen–Johansen on the session number, and Kaplan–Meier for those who remain; {RISK_SET}",
            level,
            definition,
        ),
        notes=(*curve.notes, *courses.notes),
    )


def _otherwise(ends: Outcomes) -> str:
    *first, last = ends.causes[1:]
    return f"{', '.join(first)} or {last}"


def _joined(incidences: pd.DataFrame, left: pd.DataFrame, causes: tuple[str, ...]) -> pd.DataFrame:
    """Both tables in one; nothing happens to those who remain, so their events are 0."""
    both = [each.assign(cause=each["cause"].astype(object)) for each in (incidences, left.assign(events=0))]
    table = pd.concat(both, ignore_index=True)
    table["cause"] = pd.Categorical(table["cause"], categories=list(causes), ordered=True)
    return table.sort_values(["group", "cause"], kind="stable", ignore_index=True)
