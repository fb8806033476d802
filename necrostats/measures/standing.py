"""Where patients stand after each necrosectomy: resolved, still needing more, or ended otherwise."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.curves import incidence
from necrostats.measures.event_free import event_free
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.resolution import INTERVAL, REFERENCES, record_notes
from necrostats.measures.sessions import NAMED_SESSIONS, counted_sessions, session_notes
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Population

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
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    counted = counted_sessions(registry, ends)
    entered = Grouping(labels=groups.labels, codes=np.where(counted.enters, groups.codes, -1))
    merged, causes = np.minimum(counted.cause, 2), ("resolved", _otherwise(ends))
    axis = {"axis": "sessions", "landmarks": tuple(range(up_to + 1)), "level": level}
    curve = incidence(counted.sessions, merged, entered, causes, **axis)
    left = event_free(counted.sessions, merged > 0, entered, STILL, **axis)
    return Curves(
        title="Where patients stand after each necrosectomy",
        table=_joined(curve.table, left.table, (*causes, STILL)),
        medians=curve.medians,
        landmarks=axis["landmarks"],
        remaining=STILL,
        population=Population(
            patients=int(np.count_nonzero(entered.codes >= 0)),
            left_out={
                "patients without a group": groups.left_out,
                "patients with no scan or review after the index drainage": int(np.count_nonzero(~counted.enters)),
            },
        ),
        method=Method(
            estimand=f"share of patients resolved, still needing more, and ended by {_otherwise(ends)}, after k "
            "necrosectomies",
            estimator="Aalen–Johansen on the session number, and Kaplan–Meier for those who remain; at risk at k only "
            "if something after session k showed whether it was enough",
            interval=INTERVAL,
            level=level,
            definition=definition.sentence(),
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=(*curve.notes, *session_notes(counted), *record_notes(ends)),
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
