"""The trap of "ever used": more sessions give more occasions to use an instrument, so those who did had more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.estimates import estimate_row, estimate_table
from necrostats.measures.necrosectomies import (
    NOT_RECORDED,
    NOT_USED,
    USED,
    Necrosectomies,
    check_class,
    necrosectomies,
    used_by_patient,
    uses_of,
)
from necrostats.registry.tables import Registry
from necrostats.results import Estimates, Method, Note, Population
from necrostats.stats.clustered_shares import share_difference
from necrostats.stats.intervals import Interval
from necrostats.stats.means import mean, mean_difference
from necrostats.stats.proportions import korn_graubard

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
    """
    name = check_class(instrument_class).replace("_", " ")
    trap = _counted(registry, instrument_class, necrosectomies(registry, outcomes(registry, definition)))
    rows, said = _rows(trap, name, level)
    patients = np.unique(trap.patient).size
    return Estimates(
        title=f"Ever used or not: the trap, and necrosectomies with and without {name}",
        table=estimate_table(rows),
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
        ever=count[by_patient == USED], never=count[by_patient == NOT_USED],
        enough=each.enough[known], used=uses[known], patient=each.patient[known], number=each.number[known],
        left_out={
            "patients without a necrosectomy": int(np.count_nonzero(count == 0)),
            "patients, from the means, of whom it is not recorded whether it was used":
                int(np.count_nonzero(by_patient == NOT_RECORDED)),
            "necrosectomies, from the shares, without a recorded instrument class":
                int(np.count_nonzero(uses == NOT_RECORDED)),
            "necrosectomies, from the shares, after which nothing showed whether they were enough":
                int(np.count_nonzero((uses != NOT_RECORDED) & (each.enough < 0))),
        },
    )  # fmt: skip


def _rows(trap: _Trap, name: str, level: float) -> tuple[list[dict], list[Interval]]:
    made, said = [], []

    def add(measure: str, variable: str, unit: str, of: str, n: int, figure: Interval, **more) -> None:
        made.append(
            estimate_row(measure, variable, unit=unit, of=of, n=n, estimate=figure.estimate, low=figure.low,
                         high=figure.high, **more)
        )  # fmt: skip
        said.append(figure)

    for label, counts in ((f"ever {name}", trap.ever), (f"never {name}", trap.never)):
        add(MEAN, label, "sessions", "patients", counts.size, mean(counts, level=level))
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
        return Note(code="IMMORTAL_TIME", text=f"{opening}, so \"ever\" and \"never\" cannot be compared as groups.")
    return Note(
        code="IMMORTAL_TIME",
        text=f"{opening}: those ever treated with {name} had a mean of {trap.ever.mean():.1f} necrosectomies and those "
        f"never so {trap.never.mean():.1f}, while {100 * trap.enough[used].mean():.0f} % of necrosectomies with it and "
        f"{100 * trap.enough[~used].mean():.0f} % of those without were the last one needed. Only the "
        "shares compare sessions with sessions, and instruments were chosen, not assigned.",
    )
