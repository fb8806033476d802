"""Masses that maximise the likelihood of ranges: Newton steps over a few places at a time, checked by the gradient.

The log-likelihood Σ w log P − n Σ mass is concave. Each step takes the places that have mass and, between them, those
where the gradient is steepest; its quadratic approximation over non-negative masses is a least-squares problem.
At the peak no gradient is above 0, and the log-likelihood is never further from its peak than the largest gradient.
Wang Y. Comput Stat Data Anal 2008;52:2388-2402.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, optimize

TOLERANCE = 1e-10
STEPS = 200


@dataclass(frozen=True, kw_only=True, eq=False)
class Ranges:
    """Distinct ranges of places, `first` to `last` (r,), among `places` places."""

    first: np.ndarray
    last: np.ndarray
    places: int

    def probability(self, mass: np.ndarray) -> np.ndarray:
        """The mass in each range (r,)."""
        total = np.concatenate([[0.0], np.cumsum(mass)])
        return total[self.last + 1] - total[self.first]

    def gathered(self, values: np.ndarray) -> np.ndarray:
        """For each place the sum of the values (r,) of the ranges that hold it."""
        change = np.bincount(self.first, weights=values, minlength=self.places + 1)
        change -= np.bincount(self.last + 1, weights=values, minlength=self.places + 1)
        return np.cumsum(change)[:-1]

    def holds(self, where: np.ndarray) -> np.ndarray:
        """Which ranges hold which of the places named (r, k), as 0 and 1."""
        return ((self.first[:, None] <= where) & (where <= self.last[:, None])).astype(float)

    def stabbed(self) -> np.ndarray:
        """A few places such that every range holds at least one: equal masses there, to start from."""
        mass, reached = np.zeros(self.places), -1
        for row in np.argsort(self.last, kind="stable"):
            if self.first[row] > reached:
                reached = self.last[row]
                mass[reached] = 1.0
        return mass / max(mass.sum(), 1.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Masses:
    """The masses (m,), their log-likelihood, the largest gradient an observation, and the steps it took."""

    mass: np.ndarray
    log_likelihood: float
    gradient: float
    steps: int


def fit_masses(ranges: Ranges, weights: np.ndarray, start: np.ndarray | None = None) -> Masses:
    """The masses at the peak; `weights` (r,) count observations, `start` must give every counted range some mass."""
    counted = weights > 0
    ranges = Ranges(first=ranges.first[counted], last=ranges.last[counted], places=ranges.places)
    weights, total = weights[counted], float(weights.sum())
    mass = ranges.stabbed() if start is None else start
    height, gradient = _height(ranges, weights, mass), _gradient(ranges, weights, mass)
    steps, better = 0, True
    while better and steps < STEPS and gradient.max() > TOLERANCE * total:
        moved = _moved(ranges, weights, mass, gradient)
        mass, better = _line_search(ranges, weights, mass, moved, height, float(gradient @ (moved - mass)))
        mass = _expected(ranges, weights, mass)
        height, gradient = _height(ranges, weights, mass), _gradient(ranges, weights, mass)
        steps += 1
    return Masses(mass=mass, log_likelihood=height, gradient=float(gradient.max() / total), steps=steps)


def _moved(ranges: Ranges, weights: np.ndarray, mass: np.ndarray, gradient: np.ndarray) -> np.ndarray:
    """Where the quadratic approximation is highest over non-negative masses that add up to 1."""
    where = np.union1d(np.flatnonzero(mass > 0), _steepest(mass, gradient))
    scaled = ranges.holds(where) / ranges.probability(mass)[:, None]
    slope = scaled.T @ weights
    bend = scaled.T @ (scaled * weights[:, None])
    bend[np.diag_indices_from(bend)] += 1e-12 * np.trace(bend)
    root = linalg.cholesky(bend, lower=True)
    target = linalg.solve_triangular(root, 2 * slope - weights.sum(), lower=True)
    try:
        chosen = optimize.nnls(root.T, target, maxiter=30 * where.size)[0]
    except RuntimeError:  # did not settle: the EM step that follows still climbs
        return mass
    moved = np.zeros(mass.size)
    moved[where] = chosen
    return moved / moved.sum() if moved.sum() > 0 else mass


def _steepest(mass: np.ndarray, gradient: np.ndarray) -> np.ndarray:
    """In each stretch between places that have mass, the place with the largest gradient, if it is above 0."""
    stretch = np.cumsum(mass > 0)
    order = np.lexsort((gradient, stretch))
    last = np.append(stretch[order][1:] != stretch[order][:-1], True)
    best = order[last]
    return best[gradient[best] > 0]


def _line_search(
    ranges: Ranges, weights: np.ndarray, mass: np.ndarray, moved: np.ndarray, height: float, rise: float
) -> tuple[np.ndarray, bool]:
    """As far towards `moved` as the likelihood rises by a third of what its slope promises; and whether it rose."""
    for half in range(30):
        share = 0.5**half
        tried = mass + share * (moved - mass) if half else moved
        if _height(ranges, weights, tried) >= height + share * rise / 3:
            return tried, True
    return mass, False


def _expected(ranges: Ranges, weights: np.ndarray, mass: np.ndarray) -> np.ndarray:
    """One EM step: each observation shared out among the places of its range."""
    moved = mass * ranges.gathered(weights / ranges.probability(mass))
    return moved / moved.sum()


def _height(ranges: Ranges, weights: np.ndarray, mass: np.ndarray) -> float:
    probability = ranges.probability(mass)
    return float(weights @ np.log(probability)) if (probability > 0).all() else -np.inf


def _gradient(ranges: Ranges, weights: np.ndarray, mass: np.ndarray) -> np.ndarray:
    return ranges.gathered(weights / ranges.probability(mass)) - weights.sum()
