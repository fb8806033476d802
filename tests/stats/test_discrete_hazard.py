from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.discrete_hazard import discrete_hazard, person_sessions


def _series(seed, n=200, effect=0.5):
    """Invented patients: complementary log-log hazard −1.2 + effect × x at every session, watched for up to five."""
    rng = np.random.default_rng(seed)
    x = rng.integers(0, 2, n)
    resolved = rng.geometric(1 - np.exp(-np.exp(-1.2 + effect * x)))
    seen = rng.integers(1, 6, n)
    return np.minimum(resolved, seen), resolved <= seen, x


def test_two_subjects_spread_over_their_sessions():
    rows = person_sessions([2, 1], [1, 0], first=0)
    assert_array_equal(rows.subject, [0, 0, 0, 1, 1])
    assert_array_equal(rows.session, [0, 1, 2, 0, 1])
    assert_array_equal(rows.event, [False, False, True, False, False])
    assert_array_equal(person_sessions([3], [1], cap=2).session, [1, 2, 2])


def test_one_session_and_two_groups_worked_by_hand():
    """One session: 10 of 20 with x = 0, 15 of 20 with x = 1: log odds 0 and ln 3, variance 1/10 + 1/10 + 1/15 + 1/5."""
    x = np.repeat([0, 1], 20)
    event = np.r_[np.arange(20) < 10, np.arange(20) < 15]
    found = discrete_hazard(np.ones(40), event, x, link="logit")
    assert_allclose([found.baseline[0], found.coefficient[0]], [0, np.log(3)], atol=1e-8)
    assert_allclose(found.std_error[0], np.sqrt(1 / 10 + 1 / 10 + 1 / 15 + 1 / 5))
    assert_allclose(found.high - found.low, 2 * 1.959963984540054 * found.std_error)


def test_limits_hold_a_known_ratio_in_about_95_of_100_series():
    held = [found.low[0] < 0.5 < found.high[0] for found in (discrete_hazard(*_series(seed)) for seed in range(60))]
    assert 53 <= sum(held) <= 60


def test_a_session_without_events_is_infinite_and_changes_nothing_else():
    sessions, event, x = _series(1)
    event = event & (sessions != 2)
    found = discrete_hazard(sessions, event, x)
    assert found.baseline[1] == -np.inf and np.isnan(found.baseline_error[1])
    assert np.isfinite(found.coefficient).all() and np.isfinite(found.baseline[[0, 2]]).all()
    assert [note.code for note in found.notes] == ["ZERO_EVENTS"] and "number 2" in found.notes[0].text


@pytest.mark.parametrize("link", ["cloglog", "logit"])
@pytest.mark.parametrize("rare", [False, True])
def test_events_all_on_one_side_have_no_finite_ratio(link, rare):
    sessions, event, x = _series(2)
    if rare:
        x = np.where(np.arange(200) < 6, 1, 0)
        event[:6], x = False, 1 - x
    else:
        event = event & (x == 1)
    found = discrete_hazard(sessions, event, x, link=link)
    assert found.coefficient[0] == np.inf and np.isnan(found.low[0])
    assert "SEPARATION" in [note.code for note in found.notes]


@pytest.mark.parametrize(
    ("sessions", "event", "x", "code"),
    [
        ([], [], np.empty((0, 1)), "ZERO_EVENTS"),
        ([1, 2], [0, 0], [1, 2], "ZERO_EVENTS"),
        ([1, 2, 3], [1, 1, 1], [1, 0, 1], "SMALL_N"),
        (np.tile([1, 2], 10), np.tile([1, 0, 0, 1], 5), np.ones(20), "SINGULAR"),
    ],
)
def test_edges(sessions, event, x, code):
    found = discrete_hazard(sessions, event, x)
    assert found.notes[0].code == code and np.isnan(found.coefficient).all()


def test_arguments_that_do_not_fit_are_refused():
    with pytest.raises(ChoiceError, match="cloglog, logit"):
        discrete_hazard([1], [1], [1], link="probit")
    with pytest.raises(StatisticsError, match="line up"):
        discrete_hazard([1, 2], [1, 1], [1])
