"""The figure not to report, beside the right one: competing ends taken as censored.

The mean among the resolved, beside what it leaves out.

The trap of "ever used": more sessions give more occasions to use an instrument, so those who did had more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.curves import event_free
from necrostats.measures.grouping import counted as counts
from necrostats.measures.grouping import estimate_row, estimate_table, patient_groups, without_limits
from necrostats.measures.needs import HELD, INSTRUMENTS, needing, of_resolution, resolution_and
from necrostats.measures.resolution import NAMED_DAYS, NAMED_SESSIONS, competing, record_notes, time_to_resolution
from necrostats.measures.session_counts import (
    NOT_RECORDED,
    NOT_USED,
    USED,
    CountedSessions,
    Necrosectomies,
    check_class,
    counted_sessions,
    necrosectomies,
    session_notes,
    used_by_patient,
    uses_of,
)
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Estimates, Method, Note, Population
from necrostats.stats.clustered import share_difference
from necrostats.stats.incidence import kaplan_meier
from necrostats.stats.intervals import Interval
from necrostats.stats.means import mean, mean_difference
from necrostats.stats.proportions import korn_graubard
from necrostats.stats.restricted_means import restricted_mean

NAIVE = "not to report: 1 − Kaplan–Meier"


@needing("Resolution with and without regard to competing ends", of_resolution)
def competing_ends_trap(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    days: Sequence[int] = NAMED_DAYS,
) -> Curves:
    """Incidence of resolution by day, and what 1 − Kaplan–Meier makes of it when competing ends are censored.

    The second answers what would happen if nobody could die or be operated on. It is never the share who resolve,
    and always at least as large. Gooley TA et al. Stat Med 1999;18:695-706.

    Counted: patients with an index drainage.
    Source: Gooley et al., Stat Med 1999;18:695; Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and Valsecchi,
        Analysing Survival Data, 1995.
    """
    right = time_to_resolution(registry, by=by, level=level, definition=definition, days=days)
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    free = event_free(ends.day, ends.cause == 1, groups, NAIVE, axis="days", landmarks=right.landmarks, level=level)
    kept = right.frame[right.frame["cause"] == "resolved"]
    table = _both(kept, _turned(free.table))
    return Curves(
        title="Resolution with and without regard to competing ends",
        frame=table,
        medians=_both(right.medians[right.medians["cause"] == "resolved"], free.medians),
        landmarks=right.landmarks,
        population=right.population,
        method=Method(
            estimand=right.method.estimand,
            estimator="Aalen–Johansen; beside it 1 − Kaplan–Meier with competing ends censored, which is not to be "
            "reported",
            interval=right.method.interval,
            level=level,
            definition=right.method.definition,
            references=("Gooley et al., Stat Med 1999;18:695", *right.method.references),
        ),
        notes=(_note(table, max(right.landmarks, default=0), competing(ends.causes)), *right.notes),
    )


def _turned(table: pd.DataFrame) -> pd.DataFrame:
    """The share with the event from the share without it."""
    return table.assign(estimate=1 - table["estimate"], low=1 - table["high"], high=1 - table["low"])


def _both(right: pd.DataFrame, naive: pd.DataFrame) -> pd.DataFrame:
    parts = [each.assign(cause=each["cause"].astype(object)) for each in (right, naive)]
    table = pd.concat(parts, ignore_index=True)
    table["cause"] = pd.Categorical(table["cause"], categories=["resolved", NAIVE], ordered=True)
    return table


def _note(table: pd.DataFrame, day: int, ends: str) -> Note:
    at_day = table[table["days"] == day]
    heights = {cause: at_day.loc[at_day["cause"] == cause, "estimate"] for cause in ("resolved", NAIVE)}
    text = (
        f"1 − Kaplan–Meier censors {ends}, as if those patients could still resolve: it is not the share who resolve, "
        "and is shown only beside it."
    )
    both = [each.iloc[0] for each in heights.values() if len(each) == 1]
    if len(both) == 2 and not np.isnan(both).any():
        text += f" By day {day} it says {100 * both[1]:.0f} % where {100 * both[0]:.0f} % resolved."
    return Note(code="COMPETING_AS_CENSORED", text=text)


NAIVE_MEAN = "not to report alone: mean necrosectomies among the resolved"


@needing("Mean sessions: among the resolved, and of all", resolution_and(HELD))
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

    Counted: patients with an index drainage; beside them those who resolved.
    Source: Irwin, J Hyg 1949;47:188.
    """
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    counted = counted_sessions(registry, ends)
    rows, notes = [], []
    for place, label in enumerate(groups.labels):
        here = groups.codes == place
        made, said = _rows(counted, here, label, up_to, level)
        rows += made
        notes += [*said, *([_left_out(counted, here, label if by else "")] if here.any() else [])]
    table = estimate_table(sorted(rows, key=lambda row: row["measure"] != NAIVE_MEAN), groups=groups.labels)
    bare = without_limits(table[table["measure"] != NAIVE_MEAN], named_by="measure")
    return Estimates(
        title="Mean sessions: among the resolved, and of all",
        frame=table,
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
        estimate_row(
            NAIVE_MEAN,
            "necrosectomies",
            n=int(resolved.sum()),
            estimate=naive.estimate,
            low=naive.low,
            high=naive.high,
            **about,
        )
    ]
    said = [Note(code=note.code, text=f"{NAIVE_MEAN.capitalize()}, {label}: {note.text}") for note in naive.notes]
    if not entered.any():
        rows.append(estimate_row(_all(up_to), "necrosectomies", n=0, estimate=np.nan, **about))
        return rows, [*said, _nobody_enters(label)] if here.any() else []
    curve = kaplan_meier(counted.sessions[entered], counted.cause[entered] > 0, level=level)
    whole = restricted_mean(curve, up_to)
    rows.append(
        estimate_row(
            _all(up_to),
            "necrosectomies",
            n=int(entered.sum()),
            estimate=float(whole.estimate[0]),
            low=float(whole.low[0]),
            high=float(whole.high[0]),
            **about,
        )
    )
    return rows, [*said, *(_renamed(note, label) for note in whole.notes)]


def _all(up_to: int) -> str:
    return f"restricted mean necrosectomies of all, up to {up_to}"


def _nobody_enters(label: str) -> Note:
    text = f"Group {label} has nobody with a scan or review after the index drainage: no restricted mean."
    return Note(code="SMALL_N", text=text)


def _renamed(note: Note, label: str) -> Note:
    return Note(code=note.code, text=note.text.replace("Group all", f"Group {label}"))


def _ended(cause: str) -> str:
    return cause if cause.startswith("not resolved") else f"ended by {cause}"


def _left_out(counted: CountedSessions, here: np.ndarray, label: str) -> Note:
    """Whom the mean among the resolved leaves out, and how many sessions they had."""
    others = here & (counted.cause != 1)
    ended = [
        f"{np.count_nonzero(others & (counted.cause == place)):,} {_ended(name)}"
        for place, name in enumerate(counted.causes[1:], start=2)
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


MEAN = "not to report: mean necrosectomies per patient"
GAP = "not to report: difference of those means"
SHARE = "resolved with no further necrosectomy"
DIFFERENCE = "difference of those shares, with minus without"


@dataclass(frozen=True, kw_only=True, eq=False)
class _Trap:
    """Necrosectomies per patient by whether ever used, and necrosectomies that say whether they were enough."""

    ever: np.ndarray
    never: np.ndarray
    enough: np.ndarray
    used: np.ndarray
    patient: np.ndarray
    number: np.ndarray
    left_out: dict[str, int]


@needing("Ever used or not: the trap", resolution_and(INSTRUMENTS))
def ever_used_trap(
    registry: Registry,
    instrument_class: str,
    *,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> Estimates:
    """The naive comparison of patients ever and never treated with a class of instrument, beside an honest one.

    Naive: mean necrosectomies per patient, among all with at least one. Honest: of the necrosectomies with and
    without the class, the share after which the patient resolved without another; sessions of one patient count as
    such (Korn–Graubard). The difference is also given among necrosectomies of the same number in their course.
    ChoiceError for a class that is not in the codebook. Suissa S. Am J Epidemiol 2008;167:492 (from memory).

    Counted: necrosectomies, and patients with at least one.
    Source: Suissa, Am J Epidemiol 2008;167:492.
    """
    name = check_class(instrument_class).replace("_", " ")
    trap = _counted(registry, instrument_class, necrosectomies(registry, outcomes(registry, definition)))
    rows, said = _ever_used_rows(trap, name, level)
    patients = np.unique(trap.patient).size
    return Estimates(
        title=f"Ever used or not: the trap, and necrosectomies with and without {name}",
        frame=estimate_table(rows),
        population=Population(
            patients=max(patients, trap.ever.size + trap.never.size), sessions=trap.enough.size, left_out=trap.left_out
        ),
        method=Method(
            estimand=f"share of necrosectomies with, and without, {name} after which the patient resolved without "
            "another; beside it the mean necrosectomies of patients ever and never treated with it",
            estimator="shares of necrosectomies, their difference also within the number of the necrosectomy "
            "(Mantel–Haenszel weights); means of patients",
            interval="Korn–Graubard by patient; differences of shares patient-clustered, t; means t and Welch",
            level=level,
            definition=definition.sentence(),
            references=("Suissa, Am J Epidemiol 2008;167:492", *filter(None, [definition.reference])),
        ),
        notes=(_sentence(trap, name), *dict.fromkeys(note for each in said for note in each.notes)),
    )


def _counted(registry: Registry, instrument_class: str, each: Necrosectomies) -> _Trap:
    uses = uses_of(registry, instrument_class)[each.session]
    patients = len(registry.patients)
    count = np.bincount(each.patient, minlength=patients)
    by_patient = np.where(count > 0, used_by_patient(each.patient, uses, patients), -2)
    known = (uses != NOT_RECORDED) & (each.enough >= 0)
    return _Trap(
        ever=count[by_patient == USED],
        never=count[by_patient == NOT_USED],
        enough=each.enough[known],
        used=uses[known],
        patient=each.patient[known],
        number=each.number[known],
        left_out={
            "patients without a necrosectomy": int(np.count_nonzero(count == 0)),
            "patients, from the means, of whom it is not recorded whether it was used": int(
                np.count_nonzero(by_patient == NOT_RECORDED)
            ),
            "necrosectomies, from the shares, without a recorded instrument class": int(
                np.count_nonzero(uses == NOT_RECORDED)
            ),
            "necrosectomies, from the shares, after which nothing showed whether they were enough": int(
                np.count_nonzero((uses != NOT_RECORDED) & (each.enough < 0))
            ),
        },
    )


def _ever_used_rows(trap: _Trap, name: str, level: float) -> tuple[list[dict], list[Interval]]:
    made, said = [], []

    def add(measure: str, variable: str, unit: str, of: str, n: int, figure: Interval, **more) -> None:
        made.append(
            estimate_row(
                measure,
                variable,
                unit=unit,
                of=of,
                n=n,
                estimate=figure.estimate,
                low=figure.low,
                high=figure.high,
                **more,
            )
        )
        said.append(figure)

    for label, sessions_had in ((f"ever {name}", trap.ever), (f"never {name}", trap.never)):
        add(MEAN, label, "sessions", "patients", sessions_had.size, mean(sessions_had, level=level))
    both = trap.ever.size + trap.never.size
    gap = mean_difference(trap.ever, trap.never, level=level)
    add(GAP, "ever minus never", "difference in sessions", "patients", both, gap)
    for label, state in ((f"with {name}", USED), (f"without {name}", NOT_USED)):
        here = trap.used == state
        figure = korn_graubard(trap.enough[here], np.ones(here.sum()), trap.patient[here], level=level)
        add(SHARE, label, "share", "necrosectomies", int(here.sum()), figure, events=int(trap.enough[here].sum()))
    for label, stratum in (("all", None), ("of the same number in their course", trap.number)):
        figure = share_difference(trap.enough, trap.used, trap.patient, stratum=stratum, level=level)
        add(DIFFERENCE, label, "difference of shares", "necrosectomies", trap.enough.size, figure)
    return made, said


def _sentence(trap: _Trap, name: str) -> Note:
    """The trap in one sentence."""
    opening = "Patients with more sessions have more occasions to be treated with any instrument"
    used = trap.used == USED
    if not (trap.ever.size and trap.never.size and used.any() and (~used).any()):
        return Note(code="IMMORTAL_TIME", text=f'{opening}, so "ever" and "never" cannot be compared as groups.')
    return Note(
        code="IMMORTAL_TIME",
        text=f"{opening}: those ever treated with {name} had a mean of {trap.ever.mean():.1f} necrosectomies and those "
        f"never so {trap.never.mean():.1f}, while {100 * trap.enough[used].mean():.0f} % of necrosectomies with it and "
        f"{100 * trap.enough[~used].mean():.0f} % of those without were the last one needed. Only the "
        "shares compare sessions with sessions, and instruments were chosen, not assigned.",
    )
