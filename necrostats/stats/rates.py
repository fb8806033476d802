"""Events over time at risk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.errors import StatisticsError
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import Interval, as_given, empty_denominators, few_clusters
from necrostats.stats.roots import rising_root

OVERDISPERSED_ABOVE = 1.2
CROWDED_ABOVE = 2
ROUNDING = 1e-9


def garwood(events: ArrayLike, exposure: ArrayLike, *, level: float = 0.95, per: float = 1.0) -> Interval:
    """Exact Poisson limits for `events` / `exposure` × `per`; numbers or arrays that broadcast.

    The lower limit is exactly 0 at no events; where exposure is 0, NaN and a note.
    Garwood F. Biometrika 1936;28:437-442. Raises StatisticsError for events without any exposure.
    """
    k, time = _events_and_exposure(events, exposure)
    tail = (1 - checks.confidence_level(level)) / 2
    scale = np.divide(checks.positive("per", per), time, out=np.full(k.shape, np.nan), where=time > 0)
    counts, place = np.unique(k.ravel(), return_inverse=True)
    lowest = np.where(counts > 0, special.gammaincinv(np.maximum(counts, 1.0), tail), 0.0)
    low, high = (each[place].reshape(k.shape) for each in (lowest, special.gammainccinv(counts + 1, tail)))
    return Interval(
        estimate=as_given(k * scale),
        low=as_given(low * scale),
        high=as_given(high * scale),
        notes=empty_denominators(time),
    )


def mid_p(events: ArrayLike, exposure: ArrayLike, *, level: float = 0.95, per: float = 1.0) -> Interval:
    """Mid-P Poisson limits: as Garwood's, with half the probability of what was seen in each tail.

    Inside Garwood's always; the lower limit is exactly 0 at no events; where exposure is 0, NaN and a note.
    Lancaster HO. J Am Stat Assoc 1961;56:223-234. Raises StatisticsError as `garwood` does.
    """
    k, time = _events_and_exposure(events, exposure)
    tail = (1 - checks.confidence_level(level)) / 2
    scale = np.divide(checks.positive("per", per), time, out=np.full(k.shape, np.nan), where=time > 0)
    counts, place = np.unique(k.ravel(), return_inverse=True)
    low, high = (limit[place].reshape(k.shape) for limit in _mid_p_means(counts, tail))
    return Interval(
        estimate=as_given(k * scale),
        low=as_given(low * scale),
        high=as_given(high * scale),
        notes=empty_denominators(time),
    )


@dataclass(frozen=True, kw_only=True)
class Dispersion:
    """Pearson's χ² over its degrees of freedom: 1 where counts vary as Poisson counts do; NaN if unknown."""

    estimate: float
    degrees_of_freedom: int
    notes: tuple[Note, ...] = ()


def dispersion(events: ArrayLike, exposure: ArrayLike) -> Dispersion:
    """Pearson dispersion of counts about one common rate; one row a unit (a patient), with its exposure.

    Rows without exposure say nothing and are passed over. A note says when it exceeds 1.2.
    McCullagh P, Nelder JA. Generalized Linear Models, 2nd ed. 1989, section 4.5.
    """
    k, time = _events_and_exposure(np.atleast_1d(events), np.atleast_1d(exposure))
    k, time = k[time > 0], time[time > 0]
    freedom = max(k.size - 1, 0)
    if not freedom or not k.sum():
        return Dispersion(estimate=np.nan, degrees_of_freedom=freedom, notes=(_unknown(k),))
    expected = time * (k.sum() / time.sum())
    value = float(np.sum((k - expected) ** 2 / expected) / freedom)
    return Dispersion(estimate=value, degrees_of_freedom=freedom, notes=_overdispersed(value))


def is_overdispersed(events: ArrayLike, exposure: ArrayLike) -> bool:
    """Whether counts by unit (a patient) crowd: Pearson dispersion above 1.2, or a unit with more than 2 events.

    Both limits are common practice, no source.
    """
    k, time = _events_and_exposure(np.atleast_1d(events), np.atleast_1d(exposure))
    if np.count_nonzero(time > 0) < 2 or not k.sum():
        return False
    return bool(k.max() > CROWDED_ABOVE or dispersion(k, time).estimate > OVERDISPERSED_ABOVE)


def clustered_rate(events: ArrayLike, exposure: ArrayLike, *, level: float = 0.95, per: float = 1.0) -> Interval:
    """A rate with limits robust to events that crowd in few units; one row a unit (G,), with its exposure.

    Ratio estimator r = Σy / Σt, error √(G/(G−1) Σ(y − r t)²) / Σt, on the log scale, t with G − 1 degrees of freedom.
    Cochran WG. Sampling Techniques, 3rd ed. 1977, section 6.3 (from memory). No events or fewer than two units:
    Garwood's limits, with a note. StatisticsError as for `garwood`.
    """
    k, time = _events_and_exposure(np.atleast_1d(events), np.atleast_1d(exposure))
    units, total, watched = int(np.count_nonzero(time > 0)), k.sum(), time.sum()
    if units < 2 or not total:
        exact = garwood(total, watched, level=level, per=per)
        return Interval(estimate=exact.estimate, low=exact.low, high=exact.high, notes=(*exact.notes, _unknown(k)))
    rate = total / watched
    error = np.sqrt(units / (units - 1) * np.sum((k - rate * time) ** 2)) / total
    if error <= ROUNDING:
        scaled = float(rate * checks.positive("per", per))
        return Interval(estimate=scaled, low=np.nan, high=np.nan, notes=(_flat(), *few_clusters(units)))
    width = np.exp(special.stdtrit(units - 1, (1 + checks.confidence_level(level)) / 2) * error)
    scaled = rate * checks.positive("per", per)
    return Interval(
        estimate=float(scaled), low=float(scaled / width), high=float(scaled * width), notes=few_clusters(units)
    )


def _events_and_exposure(events: ArrayLike, exposure: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    k, time = checks.broadcast(
        events=checks.counts("events", events), exposure=checks.not_negative("exposure", exposure)
    )
    if np.any((time == 0) & (k > 0)):
        raise StatisticsError("There are events where exposure is 0. Check the exposure of those rows.")
    return k, time


def _overdispersed(value: float) -> tuple[Note, ...]:
    if value <= OVERDISPERSED_ABOVE:
        return ()
    text = f"Counts vary {value:.1f} times as much as independent events would: exact limits are too narrow."
    return (Note(code="OVERDISPERSED", text=text),)


def _flat() -> Note:
    text = "Events are spread as evenly as exposure: their error cannot be estimated from how they crowd."
    return Note(code="SINGULAR", text=text)


def _unknown(k: np.ndarray) -> Note:
    if k.size < 2:
        return Note(code="SMALL_N", text="Fewer than two rows have any exposure: their spread cannot be estimated.")
    return Note(code="ZERO_EVENTS", text="No events: whether they cluster cannot be estimated.")


def _mid_p_means(k: np.ndarray, tail: float) -> tuple[np.ndarray, np.ndarray]:
    """The means at which the mid-probability of k or more is `tail`, and 1 − `tail`."""
    low, high = np.zeros(k.shape), np.full(k.shape, -np.log(2 * tail))
    some = k > 0
    low[some], high[some] = _mid_p_mean(k[some], tail), _mid_p_mean(k[some], 1 - tail)
    return low, high


def _mid_p_mean(k: np.ndarray, target: float) -> np.ndarray:
    """Between the means at which P(X ≥ k) and P(X > k) are `target`; found on their half sum."""

    def excess(mean: np.ndarray) -> np.ndarray:
        return (special.gammainc(k, mean) + special.gammainc(k + 1, mean)) / 2 - target

    def slope(mean: np.ndarray) -> np.ndarray:
        seen = np.exp(k * np.log(mean) - mean - special.gammaln(k + 1))
        return seen * (1 + k / mean) / 2

    return rising_root(excess, slope, special.gammaincinv(k, target), special.gammaincinv(k + 1, target))
