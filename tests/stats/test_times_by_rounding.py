"""Times that differ by rounding only are one time, whatever is asked of them (0.1 + 0.2 and 0.3)."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from necrostats.stats.cox import cox, proportional_hazards
from necrostats.stats.curve_terms import Subjects
from necrostats.stats.curve_tests import gray_test, log_rank
from necrostats.stats.curves import at, quantile
from necrostats.stats.incidence import aalen_johansen, equal_precision_band, follow_up, kaplan_meier
from necrostats.stats.npmle import npmle
from necrostats.stats.parametric_times import parametric_times
from necrostats.stats.resampling import bootstrap, height_of, median_of, restricted_mean_of
from necrostats.stats.restricted_means import heights, restricted_mean
from necrostats.stats.subdistribution import fine_gray

N, ASKED = 40, [0.3, 0.7, 1.2]
STATISTICS = [median_of(1), height_of(0.7, 1), restricted_mean_of(0.7, 1)]


class _Series:
    """A random series on tenths of a day; with `rounding` each time is up to one unit in the last place off."""

    def __init__(self, seed: int, rounding: bool) -> None:
        draw = np.random.default_rng(seed)
        ends = draw.integers(1, 13, N)
        starts = np.minimum(np.round(draw.random(N) * ends * 0.9).astype(int), ends - 1)
        self.cause, self.group, self.cluster, self.stratum = (draw.integers(0, k, N) for k in (3, 2, 15, 2))
        self.x = draw.normal(size=(N, 2))
        off = [1 + 2e-16 * draw.choice([-1, 0, 1], N) if rounding else 1.0 for _ in range(2)]
        self.time, self.entry = (each * 0.1 * share for each, share in zip((ends, starts), off, strict=True))

    @property
    def event(self) -> np.ndarray:
        return (self.cause > 0).astype(int)

    def ranges(self):
        left = np.where(self.cause == 1, self.time, self.entry)
        return left, np.where(self.cause == 2, np.inf, self.time)

    def curve(self):
        return aalen_johansen(self.time, self.cause, group=self.group)

    def subjects(self):
        return Subjects(time=self.time, cause=self.cause, cluster=self.cluster, group=self.group)


def _cox(s, **more):
    return cox(s.time, s.cause == 1, s.x, entry=s.entry, strata=s.stratum, fewest_events=0, **more)


ESTIMATORS = {
    "curve": lambda s: kaplan_meier(s.time, s.event, entry=s.entry, group=s.group),
    "curve by cluster": lambda s: kaplan_meier(s.time, s.event, entry=s.entry, group=s.group, cluster=s.cluster),
    "incidence by cluster": lambda s: aalen_johansen(s.time, s.cause, entry=s.entry, group=s.group, cluster=s.cluster),
    "quantile": lambda s: quantile(kaplan_meier(s.time, s.event)),
    "heights read off": lambda s: at(s.curve(), ASKED),
    "restricted mean by cluster": lambda s: restricted_mean(s.curve(), 0.7, subjects=s.subjects()),
    "heights by cluster": lambda s: heights(s.curve(), 0.7, subjects=s.subjects()),
    "log-rank": lambda s: log_rank(s.time, s.event, group=s.group, strata=s.stratum, entry=s.entry),
    "Gray": lambda s: gray_test(s.time, s.cause, group=s.group, strata=s.stratum),
    "Cox": lambda s: _cox(s, cluster=s.cluster),
    **{
        f"proportional hazards, {name}": lambda s, name=name: proportional_hazards(
            s.time, s.cause == 1, s.x, entry=s.entry, transform=name, fewest_events=0
        )
        for name in ("km", "rank", "identity")
    },
    "Fine–Gray": lambda s: fine_gray(s.time, s.cause, s.x, fewest_events=0),
    "follow-up": lambda s: follow_up(s.time, s.cause, entry=s.entry, group=s.group),
    "band": lambda s: equal_precision_band(s.time, s.event, start=0.3, end=0.9),
    "bootstrap": lambda s: bootstrap(
        s.time, s.cause, STATISTICS, group=s.group, entry=s.entry, replicates=60, random=1
    ),
    "ranges": lambda s: npmle(*s.ranges()).incidence(ASKED),
    "parametric": lambda s: parametric_times(*s.ranges(), s.x),
}


@pytest.mark.parametrize("name", ESTIMATORS)
@pytest.mark.parametrize("seed", [13, 16, 20])
def test_rounding_of_times_changes_no_figure(seed, name):
    exact, rounded = (vars(ESTIMATORS[name](_Series(seed, rounding))) for rounding in (False, True))
    compared = [key for key, value in exact.items() if isinstance(value, (float, np.ndarray))]
    numbers = [key for key in compared if np.asarray(exact[key]).dtype.kind in "fi"]
    assert numbers
    for key in numbers:
        assert_allclose(rounded[key], exact[key], rtol=1e-7, atol=1e-9)


def test_an_incidence_predicted_for_a_time_takes_in_an_event_at_that_time():
    fit = fine_gray([0.1 + 0.2, 0.5, 0.6, 0.7], [1, 1, 1, 0], [1, 0, 1, 0.0], fewest_events=0)
    assert fit.incidence([0.0], [0.3])[0, 0] > 0


def test_an_end_a_rounding_below_its_start_is_an_exact_time():
    assert npmle([0.1 + 0.2], [0.3]).left.tolist() == [0.3]
