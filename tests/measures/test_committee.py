"""The figures for a committee: what is hidden of a page worked by hand. The page is attacked in end_to_end."""

from __future__ import annotations

import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats import committee_figures
from necrostats.errors import ChoiceError


def test_a_small_level_and_one_that_would_give_it_away_are_hidden_and_the_total_stays():
    """Of 20 drained 3 have infected necrosis: alone it would be 20 − 9 − 8, so that the 8 go too."""
    infection = ["confirmed"] * 3 + ["suspected"] * 8 + ["none"] * 9
    frame = committee_figures(registry_of(*[Course(about={"infection": each}) for each in infection])).frame
    rows = frame[frame["what"] == "infection"].set_index("level")
    assert np.isnan(rows.loc["confirmed", "events"]) and np.isnan(rows.loc["suspected", "events"])
    assert rows.loc["none", "events"] == 9 and (rows["n"] == 20).all()
    assert np.isnan(rows.loc["confirmed", ["estimate", "low", "high"]].astype(float)).all()


def test_nobody_and_a_quarter_with_one_patient_give_a_page():
    assert committee_figures(registry_of()).frame.empty
    page = committee_figures(registry_of(Course(necrosectomies=[5])))
    assert not ((page.frame["events"] > 0) & (page.frame["events"] < 5)).any()


def test_a_threshold_that_hides_nothing_is_refused():
    with pytest.raises(ChoiceError, match="smallest count"):
        committee_figures(registry_of(), threshold=1)


def test_a_threshold_of_two_is_the_smallest():
    assert committee_figures(registry_of(), threshold=2).threshold == 2
