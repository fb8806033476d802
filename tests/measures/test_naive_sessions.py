import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.measures import naive_mean_sessions
from necrostats.measures.naive_sessions import NAIVE


def _days(count):
    return [7 * (number + 1) for number in range(count)]


def _resolved_after(count, **more):
    done = 7 * count + 20
    return Course(necrosectomies=_days(count), scans=[(done, 10)], well_on=[done], **more)


def _dead_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], died_on=7 * count + 5)


def _still_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], last_contact=7 * count + 4)


def _row(result, measure, group="all"):
    table = result.table
    return table[(table["measure"] == measure) & (table["group"] == group)].iloc[0]


def test_the_mean_among_the_resolved_and_the_restricted_mean_of_all_worked_by_hand():
    """Resolved after 1, 1, 2, dead after 3, under treatment after 4: (1+1+2)/3, and S = 1, 3/5, 2/5, 1/5, 1/5."""
    registry = registry_of(*[_resolved_after(k) for k in (1, 1, 2)], _dead_after(3), _still_after(4))
    result = naive_mean_sessions(registry, up_to=4)
    naive, whole = _row(result, NAIVE), _row(result, "restricted mean necrosectomies of all, up to 4")
    assert (naive["estimate"], naive["n"]) == (pytest.approx(4 / 3), 3)
    assert (whole["estimate"], whole["n"]) == (pytest.approx(1 + 3 / 5 + 2 / 5 + 1 / 5), 5)


def test_what_the_naive_mean_leaves_out_is_counted():
    registry = registry_of(*[_resolved_after(k) for k in (1, 1, 2)], _dead_after(3), _still_after(4))
    text = next(note.text for note in naive_mean_sessions(registry).notes if note.code == "COMPETING_AS_CENSORED")
    assert "leaves out 2 patients of 5: 1 ended by death, 0 ended by surgery" in text
    assert "1 not resolved when last seen, with 7 necrosectomies between them" in text


def test_geometric_sessions_with_drop_out_show_the_known_bias():
    """p = .30, drop-out .15 a session: among the resolved 1/(1 − .7 × .85) = 2.47, in truth 1/.3 = 3.33."""
    draw = np.random.default_rng(20240301)
    needed, seen = draw.geometric(0.30, 3000), draw.geometric(0.15, 3000)
    courses = [_resolved_after(n) if n <= d else _still_after(d) for n, d in zip(needed, seen, strict=True)]
    result = naive_mean_sessions(registry_of(*courses), up_to=8)
    assert round(1 / (1 - 0.7 * 0.85), 2) == 2.47
    assert _row(result, NAIVE)["estimate"] == pytest.approx(2.469, abs=3 * 1.9 / np.sqrt(1900))
    truth = (1 - 0.7**8) / 0.3
    row = _row(result, "restricted mean necrosectomies of all, up to 8")
    assert row["conf_low"] < truth < row["conf_high"]


def test_groups_have_a_row_each_and_empty_ones_stay():
    courses = [_resolved_after(1, about={"sex": "female"}), _resolved_after(3, about={"sex": "male"})]
    result = naive_mean_sessions(registry_of(*courses), by="sex")
    assert _row(result, NAIVE, "male")["estimate"] == 3
    assert _row(result, NAIVE, "other")["n"] == 0
    assert np.isnan(_row(result, NAIVE, "other")["estimate"])


def test_nobody_gives_an_empty_answer_and_no_error():
    result = naive_mean_sessions(registry_of(_resolved_after(1)).select([False]))
    assert result.table["estimate"].isna().all()


def test_a_restricted_mean_that_cannot_be_given_or_has_no_limits_says_why():
    unseen = naive_mean_sessions(registry_of(*[Course()] * 3))
    assert any("nobody with a scan or review" in note.text for note in unseen.notes)
    assert any("only 0 in a group" in note.text for note in unseen.notes)
    alike = naive_mean_sessions(registry_of(*[_resolved_after(2)] * 6))
    [note] = [note for note in alike.notes if note.code == "NO_LIMITS"]
    assert note.text.startswith("No limits for restricted mean necrosectomies of all, up to 8 (all)")
