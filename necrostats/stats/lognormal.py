"""The likelihood of log-normal amounts known exactly or as a range, and its peak."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from necrostats.results import Note

WIDEST, NARROWEST = np.log(50.0), -12.0
HALF_LOG_2PI = 0.5 * np.log(2 * np.pi)


@dataclass(frozen=True, kw_only=True, eq=False)
class LogAmounts:
    """Log limits of each amount (n,), −∞ and ∞ where open, and which amounts are exact."""

    low: np.ndarray
    high: np.ndarray
    exact: np.ndarray

    @property
    def size(self) -> int:
        """How many amounts there are."""
        return self.low.size

    @property
    def middle(self) -> np.ndarray:
        """A rough place for each amount, to start from: half or double where one side is open."""
        low = np.where(np.isinf(self.low), self.high - np.log(4.0), self.low)
        high = np.where(np.isinf(self.high), low + np.log(4.0), self.high)
        return (low + high) / 2


def log_amounts(low: np.ndarray, high: np.ndarray) -> LogAmounts:
    """Amounts (n,) between `low` (0 = open) and `high` (infinite = open), on the log scale."""
    bottom = np.log(low, out=np.full(low.shape, -np.inf), where=low > 0)
    top = np.log(high, out=np.full(high.shape, np.inf), where=np.isfinite(high))
    return LogAmounts(low=bottom, high=top, exact=low == high)


@dataclass(frozen=True, kw_only=True, eq=False)
class Terms:
    """Each row's log-likelihood (n,), its gradient (n, 2) and second derivatives (n, 2, 2) by mu and log sigma."""

    value: np.ndarray
    score: np.ndarray
    hessian: np.ndarray


def terms(rows: LogAmounts, mu: float, log_sigma: float) -> Terms:
    """The likelihood of log amounts normal about `mu`; a density for exact amounts, else a probability."""
    sigma = np.exp(log_sigma)
    exact = _exact_terms((rows.low[rows.exact] - mu) / sigma, sigma, log_sigma)
    ranges = _range_terms((rows.low[~rows.exact] - mu) / sigma, (rows.high[~rows.exact] - mu) / sigma, sigma)
    value, score, hessian = np.empty(rows.size), np.empty((rows.size, 2)), np.empty((rows.size, 2, 2))
    for part, where in ((exact, rows.exact), (ranges, ~rows.exact)):
        value[where], score[where], hessian[where] = part.value, part.score, part.hessian
    return Terms(value=value, score=score, hessian=hessian)


def _exact_terms(z: np.ndarray, sigma: float, log_sigma: float) -> Terms:
    value = -log_sigma - z**2 / 2 - HALF_LOG_2PI
    return _stacked(value, z / sigma, z**2 - 1, np.full(z.shape, -1 / sigma**2), -2 * z / sigma, -2 * z**2)


def _range_terms(a: np.ndarray, b: np.ndarray, sigma: float) -> Terms:
    """From the log of Φ(b) − Φ(a); moment k is (aᵏφ(a) − bᵏφ(b)) / (Φ(b) − Φ(a))."""
    value = _log_probability(a, b)
    at_a, at_b = (np.exp(-(x**2) / 2 - HALF_LOG_2PI - value) for x in (a, b))
    a, b = (np.where(np.isinf(x), 0.0, x) for x in (a, b))
    m0, m1, m2, m3 = (a**k * at_a - b**k * at_b for k in range(4))
    return _stacked(value, m0 / sigma, m1, (m1 - m0**2) / sigma**2, (m2 - m0 - m0 * m1) / sigma, m3 - m1 - m1**2)


def _log_probability(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """log(Φ(b) − Φ(a)), taken in the tail where it loses no digits."""
    flip = a + b > 0
    lower, upper = np.where(flip, -b, a), np.where(flip, -a, b)
    larger = special.log_ndtr(upper)
    return larger + np.log(-np.expm1(special.log_ndtr(lower) - larger))


def _stacked(value, by_mu, by_sigma, mu_mu, mu_sigma, sigma_sigma) -> Terms:
    hessian = np.stack([np.stack([mu_mu, mu_sigma], axis=-1), np.stack([mu_sigma, sigma_sigma], axis=-1)], axis=-2)
    return Terms(value=value, score=np.stack([by_mu, by_sigma], axis=-1), hessian=hessian)


@dataclass(frozen=True, kw_only=True)
class Peak:
    """Where the likelihood is highest, or a note on why no single place is (then `mu` may still be known)."""

    mu: float = np.nan
    log_sigma: float = np.nan
    note: Note | None = None


def peak(rows: LogAmounts) -> Peak:
    """The maximum of the likelihood over mu and log sigma."""
    if rows.size == 0:
        return Peak(note=Note(code="SMALL_N", text="No amount is known: there is no geometric mean."))
    bottom, top = rows.low.max(), rows.high.min()
    if bottom == top and rows.exact.any():
        return Peak(mu=float(bottom), note=_no_spread(rows.size, float(bottom)))
    if bottom < top:
        return Peak(note=_all_agree(bottom, top))
    if rows.exact.all():
        centre = rows.low.mean()
        return Peak(mu=float(centre), log_sigma=float(np.log(np.mean((rows.low - centre) ** 2)) / 2))
    return _climbed(rows)


def _climbed(rows: LogAmounts) -> Peak:
    def loss(at: np.ndarray) -> float:
        return -terms(rows, *at).value.mean()

    def gradient(at: np.ndarray) -> np.ndarray:
        return -terms(rows, *at).score.mean(axis=0)

    def curvature(at: np.ndarray) -> np.ndarray:
        return -terms(rows, *at).hessian.mean(axis=0)

    middle = rows.middle
    start = np.array([middle.mean(), np.log(max(middle.std(), 0.1))])
    found = optimize.minimize(loss, start, jac=gradient, hess=curvature, method="trust-exact", options={"gtol": 1e-6})
    at = found.x
    for _ in range(2):
        if NARROWEST < at[1] < WIDEST and np.linalg.eigvalsh(curvature(at)).min() > 1e-10:
            at = at - np.linalg.solve(curvature(at), gradient(at))
    settled = NARROWEST < at[1] < WIDEST and np.abs(gradient(at)).max() < 1e-8
    return Peak(mu=float(at[0]), log_sigma=float(at[1])) if settled else Peak(note=_no_peak(rows.size))


def _no_spread(n: int, log_value: float) -> Note:
    if n == 1:
        return Note(code="SMALL_N", text="One amount only: it stands as it is, without limits.")
    text = f"All {n} amounts agree with {np.exp(log_value):.4g}: there is no spread to make limits from."
    return Note(code="SINGULAR", text=text)


def _all_agree(bottom: float, top: float) -> Note:
    low = "0" if np.isinf(bottom) else f"{np.exp(bottom):.4g}"
    stretch = f"more than {low}" if np.isinf(top) else f"{low} to {np.exp(top):.4g}"
    text = f"Every amount is a range that holds {stretch}: no geometric mean within it can be told from another."
    return Note(code="NOT_CONVERGED", text=text)


def _no_peak(n: int) -> Note:
    text = f"The {n} amounts are known too loosely to settle on one geometric mean: none is shown."
    return Note(code="NOT_CONVERGED", text=text)
