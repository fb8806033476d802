"""The mean among the resolved, beside what it leaves out."""

from __future__ import annotations

import numpy as np

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.estimates import estimate_row, estimate_table, without_limits
from necrostats.measures.grouping import patient_groups
from necrostats.measures.phrases import counted as counts
from necrostats.measures.resolution import record_notes
from necrostats.measures.session_counts import CountedSessions, counted_sessions, session_notes
from necrostats.measures.sessions import NAMED_SESSIONS
from necrostats.registry.tables import Registry
from necrostats.results import Estimates, Method, Note, Population
from necrostats.stats.incidence import kaplan_meier
from necrostats.stats.means import mean
from necrostats.stats.restricted_means import restricted_mean

NAIVE = "not to report alone: mean necrosectomies among the resolved"


def naive_mean_sessions(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    up_to: int = NAMED_SESSIONS[-1],
) -> Estimates:
    """Mean necrosectomies of those who resolved, beside how many it leaves out and the restricted mean of all.

    The first is conditional on success: courses that were long, failed or are not over are missing from it.
    The restricted mean is that of min(necrosectomies when the course ended, `up_to`), whatever the end, among all
    who had an index drainage: the area under the share still under treatment (Irwin JO. J Hyg 1949;47:188).
    """
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    counted = counted_sessions(registry, ends)
    rows, notes = [], []
    for place, label in enumerate(groups.labels):
        here = groups.codes == place
        made, said = _rows(counted, here, label, up_to, level)
        rows += made
        notes += [*said, *([_left_out(ends, counted, here, label if by else "")] if here.any() else [])]
    table = estimate_table(sorted(rows, key=lambda row: row["measure"] != NAIVE), groups=groups.labels)
    bare = without_limits(table[table["measure"] != NAIVE], named_by="measure")
    return Estimates(
        title="Mean sessions: among the resolved, and of all",
        table=table,
        population=Population(
            patients=len(registry.patients) - groups.left_out, left_out={"patients without a group": groups.left_out}
        ),
        method=Method(
            estimand=f"mean necrosectomies when the course ended, counted up to {up_to}, whatever the end; beside it "
            "the mean of those who resolved",
            estimator=f"area under the share still under treatment up to {up_to} (Kaplan–Meier on the session number); "
            "arithmetic mean of the resolved",
            interval="t limits; for the restricted mean on the logit scale, with Greenwood's standard error",
            level=level,
            definition=definition.sentence(),
            references=("Irwin, J Hyg 1949;47:188", *filter(None, [definition.reference])),
        ),
        notes=(*notes, *bare, *session_notes(counted), *record_notes(ends)),
    )


def _rows(
    counted: CountedSessions, here: np.ndarray, label: str, up_to: int, level: float
) -> tuple[list[dict], list[Note]]:
    resolved, entered = here & (counted.cause == 1), here & counted.enters
    naive = mean(counted.sessions[resolved], level=level)
    about = {"unit": "sessions", "of": "patients", "group": label}
    rows = [
        estimate_row(NAIVE, "necrosectomies", n=int(resolved.sum()), estimate=naive.estimate, low=naive.low,
                     high=naive.high, **about)
    ]  # fmt: skip
    said = [Note(code=note.code, text=f"{NAIVE.capitalize()}, {label}: {note.text}") for note in naive.notes]
    if not entered.any():
        rows.append(estimate_row(_all(up_to), "necrosectomies", n=0, estimate=np.nan, **about))
        return rows, [*said, _nobody_enters(label)] if here.any() else []
    curve = kaplan_meier(counted.sessions[entered], counted.cause[entered] > 0, level=level)
    whole = restricted_mean(curve, up_to)
    rows.append(
        estimate_row(_all(up_to), "necrosectomies", n=int(entered.sum()), estimate=float(whole.estimate[0]),
                     low=float(whole.low[0]), high=float(whole.high[0]), **about)
    )  # fmt: skip
    return rows, [*said, *(_renamed(note, label) for note in whole.notes)]


def _all(up_to: int) -> str:
    return f"restricted mean necrosectomies of all, up to {up_to}"


def _nobody_enters(label: str) -> Note:
    text = f"Group {label} has nobody with a scan or review after the index drainage: no restricted mean."
    return Note(code="SMALL_N", text=text)


def _renamed(note: Note, label: str) -> Note:
    return Note(code=note.code, text=note.text.replace("Group all", f"Group {label}"))


def _left_out(ends: Outcomes, counted: CountedSessions, here: np.ndarray, label: str) -> Note:
    """Whom the mean among the resolved leaves out, and how many sessions they had."""
    others = here & (counted.cause != 1)
    ended = [
        f"{np.count_nonzero(others & (counted.cause == place)):,} ended by {name}"
        for place, name in enumerate(ends.causes[1:], start=2)
    ]
    unresolved = int(np.count_nonzero(others & (counted.cause == 0)))
    name = f"{label}: t" if label else "T"
    return Note(
        code="COMPETING_AS_CENSORED",
        text=f"{name}he mean among the resolved is conditional on success. It leaves out "
        f"{counts(int(others.sum()), 'patient', 'patients')} of {int(here.sum()):,}: {', '.join(ended)} and "
        f"{unresolved:,} not resolved when last seen, with {int(np.maximum(counted.sessions[others], 0).sum()):,} "
        "necrosectomies between them.",
    )
