from dataclasses import replace

import numpy as np
import pytest

from builders.debridements import registry_of, series
from necrostats.errors import StatisticsError
from necrostats.measures import compare_yield, precision_plan
from necrostats.stats.power import power_of_t

PAIR = {"reference": "snare", "primary": "powered_debrider"}


@pytest.fixture(scope="module")
def plan():
    return precision_plan(registry_of(*series(16)), **PAIR)


def test_the_smallest_ratio_has_the_power_asked_for_by_the_models_own_error(plan):
    frame = compare_yield(registry_of(*series(16)), **PAIR).frame
    row = frame[frame["measure"] == "ratio of geometric means, adjusted"].iloc[0]
    error = np.log(row["estimate"]) / row["statistic"]
    found = plan.frame["smallest_ratio_found"].iloc[0]
    assert power_of_t(np.log(found), error, row["df"]) == pytest.approx(0.8, abs=1e-6)


def test_a_smaller_ratio_needs_less_power_and_a_narrower_interval_more_sessions():
    registry = registry_of(*series(16))
    strict, loose = (
        precision_plan(registry, power=power, within=within, **PAIR).frame.iloc[0]
        for power, within in ((0.9, 0.1), (0.6, 0.5))
    )
    assert strict["smallest_ratio_found"] > loose["smallest_ratio_found"]
    assert strict["further_sessions_of_each"] > loose["further_sessions_of_each"]


def test_59_event_free_sessions_are_said_and_those_watched_so_far_are_taken_off(plan):
    row = plan.frame.iloc[0]
    assert row["sessions_watched"] == 24 and row["further_event_free_sessions"] == 59 - 24
    assert row["upper_limit"] == pytest.approx(1 - 0.05 ** (1 / 24))
    assert plan.said[1].startswith("59 sessions in a row without an adverse event are needed to exclude a rate of 5 %")


def test_the_reference_has_a_row_of_its_own_without_a_ratio(plan):
    row = plan.frame[plan.frame["instrument_class"] == "snare"].iloc[0]
    assert row["compared_with"] == "" and np.isnan(row["ratio"]) and row["sessions"] == 24


def test_where_there_is_no_pair_or_no_ratio_the_plan_says_so():
    alone = precision_plan(registry_of(*[replace(each, uses=["snare"]) for each in series(10)]))
    assert alone.said[0] == "There is no pair of classes with enough sessions to plan for."
    apart = [replace(each, texture="soft" if "snare" in each.uses else "tough") for each in series(10)]
    assert "could not be estimated" in precision_plan(registry_of(*apart), **PAIR).said[0]


def test_what_is_no_power_or_no_rate_is_refused():
    for wrong in ({"power": 1.2}, {"within": 0.0}, {"event_rate": 0.0}):
        with pytest.raises(StatisticsError):
            precision_plan(registry_of(*series(6)), **PAIR, **wrong)
