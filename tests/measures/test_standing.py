import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.measures import session_states, sessions_to_resolution
from necrostats.present import chart, describe, tabulate


def _days(count):
    return [7 * (number + 1) for number in range(count)]


def _resolved_after(count):
    done = 7 * count + 20
    return Course(necrosectomies=_days(count), scans=[(done, 10)], well_on=[done], about={"sex": "male"})


def _operated_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], surgery_on=7 * count + 5)


def _still_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], last_contact=7 * count + 4)


def _share(result, cause, sessions):
    table = result.table
    return table[(table["cause"].astype(str) == cause) & (table["sessions"] == sessions)]["estimate"].item()


def test_four_patients_worked_by_hand():
    registry = registry_of(_resolved_after(0), _resolved_after(2), _operated_after(1), _resolved_after(2))
    result = session_states(registry, up_to=2)
    ended = "death, surgery or percutaneous drain"
    assert [_share(result, "resolved", k) for k in (0, 1, 2)] == pytest.approx([0.25, 0.25, 0.75])
    assert [_share(result, ended, k) for k in (0, 1, 2)] == pytest.approx([0, 0.25, 0.25])
    assert [_share(result, "still needing more", k) for k in (0, 1, 2)] == pytest.approx([0.75, 0.5, 0])


def test_the_three_shares_add_up_to_one_with_patients_still_under_treatment():
    courses = [_resolved_after(k) for k in (0, 1, 1, 2, 3, 5)] + [_operated_after(2), _still_after(1), _still_after(3)]
    result = session_states(registry_of(*courses))
    totals = result.table.groupby("sessions")["estimate"].sum(min_count=3).dropna()
    assert totals.to_numpy() == pytest.approx(np.ones(len(totals)))


def test_resolution_is_that_of_sessions_to_resolution():
    registry = registry_of(*[_resolved_after(k) for k in (0, 1, 1, 2)], _operated_after(1), _still_after(2))
    states, curve = session_states(registry).table, sessions_to_resolution(registry).table
    for table in (states, curve):
        assert table[table["cause"].astype(str) == "resolved"]["estimate"].iloc[1] == pytest.approx(3 / 6)


def test_with_nobody_censored_and_few_patients_those_who_remain_have_clopper_pearson_limits():
    """3 of 4 remain after drainage alone: 19.41 % to 99.37 % (Clopper–Pearson, beta quantiles)."""
    registry = registry_of(*[_resolved_after(k) for k in (0, 1, 1, 2)])
    table = session_states(registry).table
    row = table[(table["cause"].astype(str) == "still needing more") & (table["sessions"] == 0)].iloc[0]
    assert (row["conf_low"], row["conf_high"]) == pytest.approx((0.194120, 0.993691), abs=5e-7)


def test_a_drain_that_is_an_adjunct_is_no_end():
    definition = ResolutionDefinition(name="x", percutaneous_drain="adjunct")
    result = session_states(registry_of(_resolved_after(1)), definition=definition)
    assert list(result.table["cause"].cat.categories) == ["resolved", "death or surgery", "still needing more"]


def test_it_is_drawn_stacked_and_says_all_three_shares():
    courses = [_resolved_after(k) for k in (0, 1, 1, 2, 2, 3)]
    result = session_states(registry_of(*courses, _operated_after(1)))
    in_order = "From the bottom: resolved, death, surgery or percutaneous drain, still needing more"
    assert in_order in chart(result).caption
    assert "43 % (10–82 %) still needed more" in describe(result, at=1)
    assert list(tabulate(result).frame.columns)[-1].startswith("Still needing more")


def test_nobody_gives_an_empty_answer_and_no_error():
    result = session_states(registry_of(_resolved_after(1)).select([False]))
    assert result.table["estimate"].isna().all()
    assert "Nobody at risk" in describe(result) or "Nobody was at risk" in describe(result)
    assert chart(result).alt


def test_who_is_at_risk_and_who_is_left_out_is_said_as_for_sessions_to_resolution():
    registry = registry_of(_resolved_after(1), Course(last_contact=3))
    states, curve = session_states(registry), sessions_to_resolution(registry)
    assert states.population == curve.population
    assert states.method.estimator.split("; ")[1] == curve.method.estimator.split("; ")[1]
    assert (states.method.interval, states.method.references) == (curve.method.interval, curve.method.references)
    assert dict(states.population.left_out) == {"patients with no scan or review after the index drainage": 1}
