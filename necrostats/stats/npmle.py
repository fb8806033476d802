"""The non-parametric maximum-likelihood estimate of times known only as ranges, and its band by patient bootstrap.

Events known only to lie in a range: the innermost intervals, the only places where the likelihood puts mass.

Ranges are half-open, (left, right]. Each end is a cut just after a value; an exact event is the stretch between the
cuts just before and just after it. So (t, ∞) does not hold an event at t, and (1, 3] and (3, 5] do not meet.

Masses that maximise the likelihood of ranges: Newton steps over a few places at a time, checked by the gradient.

The log-likelihood Σ w log P − n Σ mass is concave. Each step takes the places that have mass and, between them, those
where the gradient is steepest; its quadratic approximation over non-negative masses is a least-squares problem.
At the peak no gradient is above 0, and the log-likelihood is never further from its peak than the largest gradient.
Wang Y. Comput Stat Data Anal 2008;52:2388-2402.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg, optimize, special

from necrostats.errors import StatisticsError
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import places, unbiased, wider
from necrostats.stats.resampling import too_few_resamples


@dataclass(frozen=True, kw_only=True, eq=False)
class Innermost:
    """Innermost intervals in order: `left` (m,), `right` (m,; infinite at the end), equal where exact.

    Range i holds those from place `first` to place `last` (n,), never none.
    """

    left: np.ndarray
    right: np.ndarray
    first: np.ndarray
    last: np.ndarray


def innermost(left: ArrayLike, right: ArrayLike) -> Innermost:
    """The innermost intervals of ranges (left, right] (n,); exact where equal, open where right is infinite or NaN.

    Turnbull BW. J R Stat Soc B 1976;38:290-295; Peto R. Appl Stat 1973;22:86-91.
    Raises StatisticsError for ranges from high to low, and for a left end that is missing or below 0.
    """
    low, high = checks.ranges(left, right)
    values, rank = np.unique(np.concatenate([low, high]), return_inverse=True)
    exact = low == high
    start = 2 * rank[: low.size] + ~exact
    end = 2 * rank[low.size :] + 1
    marks = np.unique(np.concatenate([2 * end, 2 * start + 1]))  # at one cut an end comes before a start
    opens = np.flatnonzero((marks[:-1] % 2 == 1) & (marks[1:] % 2 == 0))
    starts, ends = marks[opens] // 2, marks[opens + 1] // 2
    return Innermost(
        left=values[starts // 2],
        right=values[ends // 2],
        first=np.searchsorted(starts, start),
        last=np.searchsorted(ends, end, side="right") - 1,
    )


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


SETTLED, ROUNDING = 1e-7, 1e-9
FEWEST_PATIENTS = 10
SEED = 20240229


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretch:
    """The range (left, right] that holds a quantile, equal where it is exact; NaN where it is not reached."""

    left: float
    right: float
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class IncidenceBounds:
    """The least and the most share with an event by each time (K,), or of each resample (B, K): equal unless a time
    lies inside an innermost interval, where the data do not say."""

    time: np.ndarray
    least: np.ndarray
    most: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class IntervalCensoredCurve:
    """Masses (m,) on innermost intervals (left, right], of `n` observations (a sum of weights).

    `gradient` is the largest gradient an observation: at the peak it is 0, and the log-likelihood lies at most
    n × gradient below it. The masses may not be the only ones with that likelihood; the likelihood is.
    """

    left: np.ndarray
    right: np.ndarray
    mass: np.ndarray
    n: float
    log_likelihood: float
    gradient: float
    steps: int
    notes: tuple[Note, ...] = ()

    def incidence(self, times: ArrayLike) -> IncidenceBounds:
        """The share with an event by each of K times (just after it); NaN if nobody is counted."""
        if not self.n:
            nothing = np.full(np.size(times), np.nan)
            return IncidenceBounds(time=np.atleast_1d(times), least=nothing, most=nothing)
        return _bounds(self.left, self.right, self.mass, times)

    def quantile(self, p: float = 0.5) -> Stretch:
        """Where the share with an event reaches `p`."""
        p = checks.probability("p", p)
        reached = np.flatnonzero(np.cumsum(self.mass) >= p - 1e-9)
        if not reached.size or not np.isfinite(self.right[reached[0]]):
            note = Note(code="NOT_REACHED", text=f"The curve does not reach {p:.0%}.")
            return Stretch(left=np.nan, right=np.nan, notes=(note,))
        return Stretch(left=float(self.left[reached[0]]), right=float(self.right[reached[0]]))


def npmle(left: ArrayLike, right: ArrayLike, *, weights: ArrayLike | None = None) -> IntervalCensoredCurve:
    """The estimate for ranges (left, right] (n,), one a row; exact where equal, still without the event at `left`
    where `right` is infinite or NaN. `weights` (n,) count rows.

    Turnbull BW. J R Stat Soc B 1976;38:290-295. A note where the gradient did not settle, or nobody is counted.
    Raises StatisticsError for ranges from high to low.
    """
    where = innermost(left, right)
    share = np.ones(where.first.size) if weights is None else checks.not_negative("weights", weights)
    checks.one_length(left=where.first, weights=share)
    if not share.sum():
        return _nobody(where)
    grouped = _grouped(where)
    found = fit_masses(grouped.ranges, grouped.sum(share[None])[0])
    kept = found.mass > 0
    return IntervalCensoredCurve(
        left=where.left[kept],
        right=where.right[kept],
        mass=found.mass[kept],
        n=float(share.sum()),
        log_likelihood=found.log_likelihood,
        gradient=found.gradient,
        steps=found.steps,
        notes=_settled([found]),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class IncidenceBand:
    """The share with an event by each time (K,), least and most, with a band (percentiles of resamples of patients).

    Where the share is 0 or 1 the band is undefined (NaN): every resample says the same.
    """

    time: np.ndarray
    least: np.ndarray
    most: np.ndarray
    low: np.ndarray
    high: np.ndarray
    replicates: int
    notes: tuple[Note, ...] = ()


def npmle_band(
    left: ArrayLike,
    right: ArrayLike,
    times: ArrayLike,
    *,
    patient: ArrayLike | None = None,
    replicates: int = 500,
    random: np.random.Generator | int = SEED,
    weights: ArrayLike | None = None,
    level: float = 0.95,
) -> IncidenceBand:
    """The estimate by each of K times with its band: patients are drawn with all their rows, each resample fitted.

    `patient`: a label a row (a row is a patient if left out). `weights` (B, P) instead of drawing: how often each
    patient, in the order of their labels, is in each resample. The lower limit is a percentile of the least share,
    the upper one of the most, expanded for few patients since plain ones hold the truth too seldom (tests/simulations;
    Hesterberg TC. Am Stat 2015;69:371-386, from memory). Fewer than 10 patients: no band, and a note.
    """
    level, when = checks.confidence_level(level), np.atleast_1d(checks.not_negative("times", times))
    where, curve = innermost(left, right), npmle(left, right)
    seen = curve.incidence(when)
    whose = np.arange(where.first.size) if patient is None else places(checks.labels("patient", patient))
    checks.one_length(left=where.first, patient=whose)
    patients = int(whose.max(initial=-1)) + 1
    if patients < FEWEST_PATIENTS:
        text = f"Only {patients} patients: no bootstrap band with fewer than {FEWEST_PATIENTS}."
        nothing = np.full(when.size, np.nan)
        return IncidenceBand(
            time=when,
            least=seen.least,
            most=seen.most,
            low=nothing,
            high=nothing,
            replicates=0,
            notes=(*curve.notes, Note(code="SMALL_N", text=text)),
        )
    drawn = _multiplicities(patients, replicates, random) if weights is None else _given(weights, patients)
    fits = _resampled(where, drawn[:, whose])
    resampled = _bounds(where.left, where.right, np.stack([each.mass for each in fits]), when)
    tail = float(special.ndtr(special.ndtri((1 - level) / 2) * wider(level, patients) * unbiased(patients)))
    known = (seen.most > ROUNDING) & (seen.least < 1 - ROUNDING)
    return IncidenceBand(
        time=when,
        least=seen.least,
        most=seen.most,
        replicates=len(fits),
        notes=_settled(fits) + too_few_resamples(len(fits), tail),
        low=np.where(known, np.quantile(resampled.least, tail, axis=0), np.nan),
        high=np.where(known, np.quantile(resampled.most, 1 - tail, axis=0), np.nan),
    )


def _resampled(where: Innermost, weights: np.ndarray) -> list[Masses]:
    """The fit of each row of `weights` (B, n), started from that of all rows together."""
    grouped = _grouped(where)
    start = fit_masses(grouped.ranges, grouped.sum(np.ones((1, where.first.size)))[0]).mass
    return [fit_masses(grouped.ranges, each, start) for each in grouped.sum(weights)]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Grouped:
    """Distinct ranges, and which of them each row has."""

    ranges: Ranges
    row: np.ndarray

    def sum(self, weights: np.ndarray) -> np.ndarray:
        """Weights of rows (B, n) summed by distinct range (B, r)."""
        return np.stack([np.bincount(self.row, weights=each, minlength=self.ranges.first.size) for each in weights])


def _grouped(where: Innermost) -> _Grouped:
    width = where.left.size
    distinct, row = np.unique(where.first * width + where.last, return_inverse=True)
    return _Grouped(ranges=Ranges(first=distinct // width, last=distinct % width, places=width), row=row)


def _bounds(left: np.ndarray, right: np.ndarray, mass: np.ndarray, times: ArrayLike) -> IncidenceBounds:
    when = np.atleast_1d(checks.not_negative("times", times))
    total = np.concatenate([np.zeros((*mass.shape[:-1], 1)), np.cumsum(mass, axis=-1)], axis=-1)
    ended = np.searchsorted(right, checks.snapped(when, right[np.isfinite(right)]), side="right")
    begun = np.maximum(np.searchsorted(left, checks.snapped(when, left), side="left"), ended)
    return IncidenceBounds(time=when, least=np.minimum(total[..., ended], 1.0), most=np.minimum(total[..., begun], 1.0))


def _multiplicities(patients: int, replicates: int, random: np.random.Generator | int) -> np.ndarray:
    generator = checks.seed(random)
    size = int(checks.positive("replicates", replicates))
    return generator.multinomial(patients, np.full(patients, 1 / patients), size=size)


def _given(weights: ArrayLike, patients: int) -> np.ndarray:
    each = checks.not_negative("weights", weights)
    if each.ndim != 2 or each.shape[1] != patients or not each.sum(axis=1).all():
        raise StatisticsError(f"weights must have {patients} columns, one a patient, and count somebody in each row.")
    return each


def _settled(fits: list[Masses]) -> tuple[Note, ...]:
    worst = max(each.gradient for each in fits)
    if worst <= SETTLED:
        return ()
    text = f"The estimate did not settle: its largest gradient is {worst:.2g} an observation, not 0."
    return (Note(code="NOT_CONVERGED", text=text),)


def _nobody(where: Innermost) -> IntervalCensoredCurve:
    note = Note(code="SMALL_N", text="Nobody is counted: there is no curve.")
    return IntervalCensoredCurve(
        left=where.left[:0],
        right=where.right[:0],
        mass=np.zeros(0),
        n=0.0,
        log_likelihood=np.nan,
        gradient=np.nan,
        steps=0,
        notes=(note,),
    )
