import numpy as np
import pytest

from necrostats.measures.event_free import event_free
from necrostats.measures.grouping import Grouping, one_group

NAME = "free of x"


def _curve(time, event, groups=None, landmarks=(10,)):
    groups = groups or one_group(len(time))
    return event_free(np.array(time), np.array(event), groups, NAME, axis="days", landmarks=landmarks, level=0.95)


def test_the_product_limit_worked_by_hand():
    """Events at 2 (of 5) and 4 (of 3), one censored at 3: 4/5, then 4/5 × 2/3."""
    table = _curve([2, 3, 4, 12, 12], [1, 0, 1, 0, 0]).table.set_index("days")
    assert table["estimate"].loc[[0, 2, 3, 4, 10]].tolist() == pytest.approx([1, 0.8, 0.8, 8 / 15, 8 / 15])
    assert table["at_risk"].loc[[0, 2, 4, 10]].tolist() == [5, 5, 3, 2]


def test_nothing_is_known_after_the_last_contact():
    table = _curve([2, 5], [1, 0]).table.set_index("days")
    assert np.isnan(table["estimate"].loc[10])


def test_when_nobody_is_left_the_share_is_0_from_there_on():
    assert _curve([2, 5], [1, 1]).table.set_index("days")["estimate"].loc[10] == 0


def test_with_nobody_censored_and_few_the_limits_are_clopper_pearson():
    """9 of 10 free at day 2: 55.50 % to 99.75 % (Clopper–Pearson, beta quantiles)."""
    row = _curve([2, *range(3, 12)], [1] * 10).table.set_index("days").loc[2]
    assert (row["conf_low"], row["conf_high"]) == pytest.approx((0.554984, 0.997471), abs=5e-7)


def test_the_median_is_the_middle_of_a_stretch_at_one_half():
    assert _curve([2, 4, 9, 9], [1, 1, 1, 1]).medians["estimate"].item() == 6.5


def test_a_median_not_reached_is_said():
    codes = {note.code: note.text for note in _curve([2, 20, 20, 20], [1, 0, 0, 0]).notes}
    assert "more than half were still free of x while followed (all)" in codes["NOT_REACHED"]


def test_groups_with_nobody_stay_and_rows_without_a_group_do_not_count():
    groups = Grouping(labels=("a", "b"), codes=np.array([0, 0, -1]))
    table = _curve([2, 20, 1], [1, 0, 1], groups).table
    assert table.loc[table["group"] == "a", "at_risk"].max() == 2
    assert table.loc[table["group"] == "b", "estimate"].isna().all()


def test_all_still_free_have_an_exact_lower_limit_until_somebody_is_censored():
    """40 of 40: at least 91.19 % (0.025^(1/40))."""
    table = _curve([20, *[30] * 39], [0, *[1] * 39], landmarks=(10, 25)).table.set_index("days")
    assert table.loc[10, ["conf_low", "conf_high"]].tolist() == pytest.approx([0.911903, 1.0], abs=5e-7)
    assert table.loc[25, ["conf_low", "conf_high"]].isna().all()


def test_where_nobody_is_left_free_the_upper_limit_of_the_median_is_a_day():
    medians = _curve([50] * 16 + [60] * 24, [1] * 40).medians
    assert medians[["estimate", "conf_low", "conf_high"]].iloc[0].tolist() == [60, 50, 60]
