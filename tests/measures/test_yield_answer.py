from dataclasses import replace

import numpy as np
import pytest

from builders.debridements import Session, registry_of, series
from necrostats import lead
from necrostats.errors import ChoiceError, StatisticsError
from necrostats.measures import attribution_sensitivity, compare_yield, precision_plan, yield_answer
from necrostats.stats.power import power_of_t

PAIR = {"reference": "snare", "primary": "powered_debrider"}


def _shared(amount, *, minutes, primary="snare", start=0, n=12):
    """Sessions shared by both classes, the debrider for so many of 60 minutes."""
    uses = {"snare": {"minutes": 60 - minutes}, "powered_debrider": {"minutes": minutes}}
    uses[primary]["is_primary"] = True
    return [
        Session(patient=f"Q{start + i}", day=10, uses=uses, low=amount * (1 + 0.05 * (i % 5)), texture="soft")
        for i in range(n)
    ]


@pytest.fixture(scope="module")
def usual():
    return attribution_sensitivity(registry_of(*series(30)), **PAIR)


def test_every_rule_meets_every_set_of_adjustments_and_they_stand_sorted(usual):
    assert len(usual.frame) == 5 * 7 and usual.frame["estimate"].is_monotonic_increasing
    assert usual.frame.groupby(["rule", "adjusted_for"], observed=False).size().eq(1).all()


def test_the_rows_are_those_of_the_comparison(usual):
    frame = compare_yield(registry_of(*series(30)), **PAIR).frame
    main = usual.frame[usual.frame["main"] & (usual.frame["rule"] == "one-class sessions only")].iloc[0]
    adjusted = frame[frame["measure"] == "ratio of geometric means, adjusted"].iloc[0]
    assert main[["estimate", "low", "high"]].tolist() == pytest.approx(adjusted[["estimate", "low", "high"]].tolist())


def test_where_all_rules_agree_the_verdict_is_that_it_holds(usual):
    assert usual.verdict == (
        "Powered debrider yielded more than snare whichever way shared sessions are credited: the direction holds "
        "under all 5 rules, and the interval excludes no difference under 5 of them."
    )


def test_where_rules_disagree_in_sign_the_verdict_is_that_it_does_not_hold():
    """Shared sessions yield most and the debrider is in them for few minutes only: its share is small."""
    result = attribution_sensitivity(registry_of(*series(12, ratio=1.1), *_shared(300.0, minutes=4, n=20)), **PAIR)
    main = result.frame[result.frame["main"]].set_index("rule")["estimate"]
    assert main["one-class sessions only"] > 1 > main["shares by minutes or passes"]
    assert result.verdict.startswith("The contrast does not hold whichever way shared sessions are credited")


def test_where_a_rule_gives_no_estimate_the_verdict_is_that_it_is_not_known():
    apart = [replace(each, texture="soft" if "snare" in each.uses else "tough") for each in series(20)]
    result = attribution_sensitivity(registry_of(*apart), **PAIR)
    assert result.verdict.startswith("Not known whether the contrast of powered debrider with snare holds")
    assert result.frame["estimate"].isna().sum() == 5 * 3
    assert result.frame["estimate"].isna().tail(15).all()


def test_where_no_session_has_one_class_the_pair_comes_from_another_rule():
    result = attribution_sensitivity(registry_of(*_shared(300.0, minutes=20), *_shared(200.0, minutes=30, start=20)))
    assert {result.frame["group"].iloc[0], result.frame["reference"].iloc[0]} == {"snare", "powered_debrider"}


def test_one_class_alone_leaves_nothing_to_try():
    result = attribution_sensitivity(registry_of(*[replace(each, uses=["snare"]) for each in series(10)]))
    assert result.verdict == "There is no contrast to try under the rules." and result.frame["estimate"].isna().all()


def test_rules_and_adjustments_may_be_chosen():
    result = attribution_sensitivity(
        registry_of(*series(20)), rules=("equal shares", "additive model"), adjust=("session number",), **PAIR
    )
    assert list(result.frame["rule"].cat.categories) == ["equal shares", "additive model"] and len(result.frame) == 6
    assert len(attribution_sensitivity(registry_of(*series(20)), adjust=(), **PAIR).frame) == 10
    with pytest.raises(ChoiceError, match="rules is empty"):
        attribution_sensitivity(registry_of(*series(5)), rules=())


def test_dividing_a_session_does_not_make_one_session_count_as_two_independent_ones():
    """The same shared sessions: rows of one session are alike, so errors are summed by patient."""
    result = attribution_sensitivity(registry_of(*series(20), *_shared(200.0, minutes=30, n=20)), **PAIR)
    main = result.frame[result.frame["main"]].set_index("rule")
    assert np.isfinite(main["low"]).all() and main.loc["equal shares", "sessions"] == 60 + 2 * 20


CLASSES = {"reference": "snare", "primary": "powered_debrider"}


def _answer(*sessions):
    registry = registry_of(*sessions)
    return yield_answer(
        *(each(registry, **CLASSES) for each in (compare_yield, attribution_sensitivity, precision_plan))
    )


def test_the_answer_holds_the_primary_contrast_alone_and_what_was_said_of_it():
    answer = _answer(*series(20))
    assert answer.frame["primary"].all() and answer.title == "Which removes more: powered debrider or snare?"
    text = str(lead(answer, sentences=9))
    for part in (
        "whichever way shared sessions are credited",
        "With 80 % power",
        "chosen for the case in hand and not assigned",
    ):
        assert part in text


def test_where_the_interval_holds_no_difference_the_answer_is_that_the_data_do_not_tell():
    assert "these data do not tell which of the two removes more" in str(
        lead(_answer(*series(12, ratio=1.0)), sentences=9)
    )


def test_a_crude_ratio_alone_is_no_answer():
    apart = [replace(each, texture="soft" if "snare" in each.uses else "tough") for each in series(20)]
    text = str(lead(_answer(*apart), sentences=9))
    assert "it does not tell which removes more" in text and "never used at the same texture" in text


def test_nothing_to_compare_is_said_with_its_reason():
    text = str(lead(_answer(*[replace(each, uses=["snare"]) for each in series(10)]), sentences=9))
    assert text.startswith("These data cannot tell which class of instrument removes more. Only one class")


PLANNED = {"reference": "snare", "primary": "powered_debrider"}


@pytest.fixture(scope="module")
def plan():
    return precision_plan(registry_of(*series(16)), **PLANNED)


def test_the_smallest_ratio_has_the_power_asked_for_by_the_models_own_error(plan):
    frame = compare_yield(registry_of(*series(16)), **PLANNED).frame
    row = frame[frame["measure"] == "ratio of geometric means, adjusted"].iloc[0]
    error = np.log(row["estimate"]) / row["statistic"]
    found = plan.frame["smallest_ratio_found"].iloc[0]
    assert power_of_t(np.log(found), error, row["df"]) == pytest.approx(0.8, abs=1e-6)


def test_a_smaller_ratio_needs_less_power_and_a_narrower_interval_more_sessions():
    registry = registry_of(*series(16))
    strict, loose = (
        precision_plan(registry, power=power, within=within, **PLANNED).frame.iloc[0]
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
    assert "could not be estimated" in precision_plan(registry_of(*apart), **PLANNED).said[0]


def test_what_is_no_power_or_no_rate_is_refused():
    for wrong in ({"power": 1.2}, {"within": 0.0}, {"event_rate": 0.0}):
        with pytest.raises(StatisticsError):
            precision_plan(registry_of(*series(6)), **PLANNED, **wrong)
