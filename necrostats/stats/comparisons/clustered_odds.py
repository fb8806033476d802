"""The odds ratio of two groups of units that come in clusters, by the model that their numbers allow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.clusters import places
from necrostats.stats.comparisons.choosing import FEW, NO_TEST, ChosenContrast
from necrostats.stats.firth import firth_logistic
from necrostats.stats.gee import logit_gee

GEE, FIRTH = "gee", "firth"
METHODS = {
    GEE: "logistic estimating equations, exchangeable within clusters, bias-reduced errors, t with G − 2 degrees of "
    "freedom",
    FIRTH: "Firth's penalised likelihood, profile limits, units taken as independent",
}
TESTS = {
    GEE: "Wald t-test of the logistic estimating equations",
    FIRTH: "penalised likelihood-ratio test",
}
FEWEST_CLUSTERS = 2


@dataclass(frozen=True, kw_only=True, eq=False)
class ClusteredContrast(ChosenContrast):
    """A chosen contrast with the statistic of its test: t for estimating equations, else NaN."""

    statistic: float = np.nan


def clustered_odds_ratio(
    outcome: ArrayLike, in_group: ArrayLike, cluster: ArrayLike, *, level: float = 0.95, test: str | None = None
) -> ClusteredContrast:
    """The odds ratio of units in the group against the others: `outcome`, `in_group` 0/1 (n,), `cluster` labels (n,).

    By default estimating equations with bias-reduced errors; Firth's penalised likelihood, which takes units as
    independent, where a cell is empty or a group has fewer than 5 events. `test` "gee" or "firth" asks for one by name.
    No events or nothing but events in both, an empty group, or estimating equations with fewer than 2 clusters in a
    group: NaN and a note. Raises StatisticsError for values that are not 0 or 1, and for "gee" with an empty cell.
    """
    checks.confidence_level(level)
    if test is not None and test not in TESTS:
        raise unknown_choice("test of units in clusters", test, TESTS)
    y, group = (_yes_no(name, each) for name, each in (("outcome", outcome), ("in_group", in_group)))
    label = checks.labels("cluster", cluster)
    checks.one_length(outcome=y, in_group=group, cluster=label)
    cells = np.array([[np.sum((group == g) & (y == e)) for e in (1, 0)] for g in (1, 0)])
    if nothing := _nothing(cells):
        return _blank("", NO_TEST, nothing)
    chosen, rule = (test, "This model was asked for by name.") if test else _choice(cells)
    if chosen == FIRTH:
        return _firth(cells, rule, level)
    if not cells.all():
        raise StatisticsError(
            "A cell of the table is empty: estimating equations report an error that is far too small there. Use "
            'test "firth".'
        )
    return _gee(y, group, places(label), cells, rule, level)


def _yes_no(name: str, values: ArrayLike) -> np.ndarray:
    array = checks.counts(name, values)
    checks.refuse(name, array, array > 1, "is neither 0 nor 1.")
    return array


def _nothing(cells: np.ndarray) -> tuple[Note, ...]:
    if not cells.sum(axis=1).all():
        return (Note(code="SMALL_N", text="A group has nothing in it: nothing can be compared."),)
    if not cells.sum(axis=0).all():
        return (Note(code="ZERO_EVENTS", text="No events in either group, or nothing but events: no odds ratio."),)
    return ()


def _choice(cells: np.ndarray) -> tuple[str, str]:
    """The model, and the sentence that says why."""
    if not cells.all():
        return FIRTH, "Firth's penalised likelihood: a cell of the table is empty."
    fewest = int(cells[:, 0].min())
    if fewest < FEW:
        return FIRTH, f"Firth's penalised likelihood: a group has fewer than {FEW} events ({fewest})."
    return GEE, f"Estimating equations: each group has {FEW} events or more, and no cell of the table is empty."


def _firth(cells: np.ndarray, rule: str, level: float) -> ClusteredContrast:
    fit = firth_logistic(cells[:, 0], cells.sum(axis=1), [[1, 1], [1, 0]], level=level, of=(1,))
    notes = (Note(code="CLUSTER_IGNORED", text=_IGNORED), *fit.notes)
    if not cells.all():
        notes = (Note(code="SEPARATION", text=_SEPARATED), *notes)
    return ClusteredContrast(
        estimate=float(np.exp(fit.coefficients[1])), low=float(np.exp(fit.low[1])), high=float(np.exp(fit.high[1])),
        measure="odds ratio", method=METHODS[FIRTH], p_value=float(fit.p_values[1]), test=TESTS[FIRTH],
        rule=rule, notes=notes,
    )  # fmt: skip


_IGNORED = (
    "Units of one cluster are taken as independent, since events are too few to say how far they depend on each other: "
    "the limits may be too narrow."
)
_SEPARATED = "A cell of the table is empty: the odds ratio is pulled in from 0 or infinity by the penalty."


def _gee(
    y: np.ndarray, group: np.ndarray, cluster: np.ndarray, cells: np.ndarray, rule: str, level: float
) -> ClusteredContrast:
    if min(np.unique(cluster[group == side]).size for side in (0, 1)) < FEWEST_CLUSTERS:
        text = "A group has a single cluster in it: it cannot be told from its group."
        return _blank(METHODS[GEE], rule, (Note(code="FEW_CLUSTERS", text=text),))
    if np.unique(cluster).size <= 2:
        text = "Two clusters cannot carry a comparison of two groups."
        return _blank(METHODS[GEE], rule, (Note(code="FEW_CLUSTERS", text=text),))
    fit = logit_gee(y, np.column_stack([np.ones(y.size), group]), cluster, level=level)
    few = int(cells[:, 0].min())
    notes = fit.notes
    if few < FEW:
        text = f"A group has fewer than {FEW} events ({few}): estimating equations are not reliable there."
        notes = (Note(code="SMALL_N", text=text), *notes)
    return ClusteredContrast(
        estimate=float(np.exp(fit.coefficients[1])), low=float(np.exp(fit.low[1])), high=float(np.exp(fit.high[1])),
        measure="odds ratio", method=METHODS[GEE], p_value=float(fit.p_values[1]), test=TESTS[GEE], rule=rule,
        statistic=float(fit.statistics[1]), notes=notes,
    )  # fmt: skip


def _blank(method: str, rule: str, notes: tuple[Note, ...]) -> ClusteredContrast:
    return ClusteredContrast(
        estimate=np.nan, low=np.nan, high=np.nan, measure="odds ratio", method=method, rule=rule, notes=notes
    )
