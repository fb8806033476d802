from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.event_tables import event_table
from necrostats.stats.incidence import aalen_johansen, kaplan_meier, quantile
from necrostats.stats.resampling import (
    ManyCurves,
    _percentiles,
    bootstrap,
    courses,
    height_of,
    median_of,
    restricted_mean_of,
)
from necrostats.stats.restricted_means import heights, restricted_mean

quickly = settings(deadline=None, derandomize=True, max_examples=25)
FIGURES = [median_of(1), height_of(6, 1), restricted_mean_of(8, 2), median_of(), height_of(6), restricted_mean_of(8)]


def _series(seed, n=40):
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < 0.3, rng.integers(1, 4, n), 0)
    patient = rng.integers(0, n // 2, n)
    return entry + rng.integers(1, 12, n), rng.integers(0, 3, n), entry, rng.integers(0, 2, n), patient


def _one_by_one(time, cause, entry, weights):
    """The same figures from rows written out as often as they count."""
    rows = np.repeat(np.arange(time.size), weights)
    time, cause, entry = time[rows], cause[rows], entry[rows]
    incidence = aalen_johansen(time, cause, entry=entry, causes=[1, 2])
    free = kaplan_meier(time, cause > 0, entry=entry)
    medians = [quantile(incidence).estimate[0, 0], quantile(free).estimate[0]]
    medians = [np.inf if np.isnan(each) else each for each in medians]
    return [
        medians[0],
        heights(incidence, 6).estimate[0, 0],
        restricted_mean(incidence, 8).estimate[0, 1],
        medians[1],
        heights(free, 6).estimate[0],
        restricted_mean(free, 8).estimate[0],
    ]


@quickly
@given(seed=st.integers(0, 500))
def test_given_multiplicities_it_is_the_figure_of_rows_written_out_so_often(seed):
    time, cause, entry, group, patient = _series(seed)
    names, whose = np.unique(patient, return_inverse=True)
    weights = np.random.default_rng(seed).integers(0, 4, (3, names.size))
    found = bootstrap(
        time, cause, FIGURES, entry=entry, group=group, groups=[0, 1], causes=[1, 2], patient=patient, weights=weights
    )
    for each, times in enumerate(weights[:, whose]):
        for place in (0, 1):
            rows = group == place
            if times[rows].any():
                expected = _one_by_one(time[rows], cause[rows], entry[rows], times[rows])
                assert_allclose(found.replicates[each, :, place], expected, atol=1e-12)


@pytest.mark.parametrize("patients", [60, 3000])
def test_limits_are_those_the_delta_method_gives_whichever_way_patients_are_drawn(patients):
    """60 patients are drawn one by one, 3,000 as multinomial counts of courses."""
    rng = np.random.default_rng(5)
    time, cause = rng.integers(1, 25, patients), rng.integers(0, 3, patients)
    found = bootstrap(time, cause, [height_of(8, 1), restricted_mean_of(12, 1)], random=3)
    curve = aalen_johansen(time, cause)
    for name, theirs in zip(found.names, (heights(curve, 8), restricted_mean(curve, 12)), strict=True):
        ours = found.interval(name)
        assert_allclose(ours.estimate, theirs.estimate[0, 0])
        assert_allclose((ours.high - ours.low) / (2 * 1.96), theirs.std_error[0, 0], rtol=0.1)


def test_patients_with_several_rows_are_drawn_whole():
    rng = np.random.default_rng(1)
    time, cause = rng.integers(1, 25, 40), rng.integers(0, 2, 40)
    single = bootstrap(time, cause, [height_of(8)], random=3).interval("event-free at 8")
    twice = {"patient": np.tile(np.arange(40), 2), "random": 3}
    doubled = bootstrap(np.tile(time, 2), np.tile(cause, 2), [height_of(8)], **twice).interval("event-free at 8")
    assert_allclose(doubled.high - doubled.low, single.high - single.low, rtol=0.1)


def test_the_same_seed_gives_the_same_limits_and_no_global_state_changes():
    rng_before = np.random.get_state()[1].copy()
    time, cause, *_ = _series(2)
    one, two, other = (bootstrap(time, cause, [height_of(6)], replicates=50, random=seed) for seed in (7, 7, 8))
    assert_array_equal(one.replicates, two.replicates)
    assert not np.array_equal(one.replicates, other.replicates)
    again = bootstrap(time, cause, [height_of(6)], replicates=50, random=np.random.default_rng(7))
    assert_array_equal(again.replicates, one.replicates)
    assert_array_equal(np.random.get_state()[1], rng_before)


def test_percentiles_worked_by_hand():
    """39 resamples in which 1 to 39 of 40 patients have the event: 95 % leaves one at each end, 1 and 39 of 40."""
    weights = np.stack([40 - np.arange(1, 40), np.arange(1, 40)], axis=1)
    pad = np.zeros((39, 8), dtype=int)
    found = bootstrap(
        [9, 1] + [9] * 8, [0, 1] + [0] * 8, [height_of(5, 1)], weights=np.hstack([weights, pad])
    ).interval("incidence at 5, 1")
    assert_allclose([found.low, found.high], [1 / 40, 39 / 40])


def test_percentiles_of_a_mean_are_expanded_for_few_patients_and_those_of_a_median_are_not():
    """15 patients: t 2.145 × √(15/14) = 2.220, beyond which the normal has 1.32 %: 5 of 399 resamples, not 10."""
    time, cause = np.arange(1, 16), np.ones(15, dtype=int)
    found = bootstrap(time, cause, [restricted_mean_of(12), median_of()], replicates=399, random=1)
    for name, beyond in (("restricted mean to 12", 5), ("median", 10)):
        ordered = np.sort(found.replicates[:, found.names.index(name), 0])
        limits = found.interval(name)
        assert_allclose([limits.low, limits.high], [ordered[beyond - 1], ordered[-beyond]])


def test_differences_are_taken_within_each_resample():
    time, cause, _, group, patient = _series(4, n=80)
    found = bootstrap(time, cause, [restricted_mean_of(8)], group=group, patient=patient, replicates=200)
    gap = found.difference("restricted mean to 8", 1, 0)
    gaps = np.sort(found.replicates[:, 0, 1] - found.replicates[:, 0, 0])
    fewer = min(found.patients)
    z = stats.t.ppf(0.975, sum(found.patients) - 2) * np.sqrt(fewer / (fewer - 1))
    beyond = int(201 * stats.norm.sf(z))
    assert beyond < 5 and 201 * 0.025 > 5
    assert_allclose([gap.low, gap.high], [gaps[beyond - 1], gaps[-beyond]])
    turned = found.difference("restricted mean to 8", 0, 1)
    assert_allclose([turned.estimate, turned.low, turned.high], [-gap.estimate, -gap.high, -gap.low])


def test_fewer_than_ten_patients_get_an_estimate_and_a_note_but_no_limits():
    found = bootstrap([1, 2, 3], [1, 1, 1], [median_of()], replicates=20).interval("median")
    assert found.estimate == 2 and np.isnan([found.low, found.high]).all()
    assert [note.code for note in found.notes] == ["SMALL_N"]


def test_a_median_not_reached_in_many_resamples_has_no_upper_limit():
    found = bootstrap(np.arange(1, 21), np.arange(20) % 2, [median_of(1)], replicates=200, random=1)
    limits = found.interval("median, 1")
    assert np.isfinite(limits.low) and np.isnan(limits.high)
    assert [note.code for note in limits.notes] == ["NOT_REACHED"]


def test_follow_up_too_short_in_many_resamples_gives_no_limits():
    time, cause = [3] * 19 + [30], [0] * 19 + [1]
    found = bootstrap(time, cause, [restricted_mean_of(20)], replicates=200, random=1).interval("restricted mean to 20")
    assert np.isnan([found.low, found.high]).all()
    assert [note.code for note in found.notes] == ["NOT_MATURED"] and "no limits" in found.notes[0].text


def test_a_group_with_nobody_and_nobody_at_all():
    found = bootstrap([1] * 12, [1] * 12, [median_of()], group=["a"] * 12, groups=["a", "b"], replicates=20)
    empty = found.interval("median", "b")
    assert np.isnan(empty.estimate) and empty.notes[0].code == "SMALL_N"
    nobody = bootstrap([], [], FIGURES, causes=[1, 2]).interval("median")
    assert np.isnan(nobody.estimate) and nobody.notes[0].code == "SMALL_N"


def test_questions_that_cannot_be_answered_are_refused():
    time, cause, *_ = _series(2)
    with pytest.raises(ChoiceError, match="known cause"):
        bootstrap(time, cause, [median_of(9)], replicates=5)
    with pytest.raises(ChoiceError, match="known figure"):
        bootstrap(time, cause, [median_of(1)], replicates=5).interval("mean")
    with pytest.raises(StatisticsError, match="40 columns"):
        bootstrap(time, cause, [median_of(1)], weights=[[1, 2]])


def test_a_share_that_is_the_same_in_every_resample_has_no_limits_and_a_note():
    """0 of 12 and 12 of 12: as many as 26 % more or fewer are compatible, which no resample can show."""
    for time, cause in ((9, 0), (3, 1)):
        figures = [height_of(5, 1), restricted_mean_of(8)]
        found = bootstrap([time] * 12, [cause] * 12, figures, causes=[1], replicates=99)
        for name in found.names:
            limits = found.interval(name)
            assert np.isfinite(limits.estimate) and np.isnan([limits.low, limits.high]).all()
            assert [note.code for note in limits.notes] == ["NO_LIMITS"]


def test_a_difference_from_a_group_that_never_varies_has_no_limits():
    group, time = np.repeat([0, 1], 12), np.tile([3, 9], 12)
    cause = np.where(group == 0, 0, np.tile([1, 0], 12))
    found = bootstrap(time, cause, [height_of(5, 1)], group=group, replicates=99)
    gap = found.difference("incidence at 5, 1", 1, 0)
    assert gap.estimate == 0.5 and np.isnan([gap.low, gap.high]).all()
    assert "NO_LIMITS" in {note.code for note in gap.notes}


def test_a_median_on_which_all_resamples_agree_keeps_its_limits():
    limits = bootstrap([3] * 12, [1] * 12, [median_of(1)], replicates=99).interval("median, 1")
    assert (limits.low, limits.high) == (3, 3)


def test_too_few_resamples_for_the_level_are_said():
    time = np.arange(1, 16)
    few, many = (
        bootstrap(time, time % 2, [height_of(8, 1)], replicates=replicates, level=0.999).interval("incidence at 8, 1")
        for replicates in (200, 200_000)
    )
    assert few.notes[0].code == "FEW_RESAMPLES" and few.notes[0].text.startswith("200 resamples are too few")
    assert many.notes == ()


def test_patients_with_the_same_course_are_counted_together():
    found = courses([3, 3, 5, 3], [1, 1, 0, 2])
    assert sorted(found.patients) == [1, 1, 2]
    assert_array_equal(found.patients_by_group, [4])


def test_a_patient_with_several_rows_keeps_them_together():
    found = courses([3, 3, 3], [1, 1, 1], patient=["x", "x", "y"])
    assert sorted(found.patients) == [1, 1]
    assert sorted(found.adds.sum(axis=1)) == [1, 2]


def test_courses_as_often_as_they_occur_give_the_table_of_all_rows():
    rng = np.random.default_rng(3)
    entry = rng.integers(0, 3, 50)
    time, cause, group = entry + rng.integers(1, 9, 50), rng.integers(0, 3, 50), rng.integers(0, 2, 50)
    patient = rng.integers(0, 30, 50)
    found = courses(time, cause, entry=entry, group=group, patient=patient)
    table = event_table(time, cause, entry=entry, group=group)
    for place, each in enumerate(found.tables(found.patients[None])):
        assert_array_equal(each.at_risk[0], table.risk_at(each.time)[place])
        seen = np.isin(table.time, each.time)
        for part in ("events", "censored"):
            assert_array_equal(getattr(each, part)[0], getattr(table, part)[place][..., seen])
            assert not getattr(table, part)[place][..., ~seen].any()


def test_apart_every_patient_has_a_course_in_the_order_of_labels():
    found = courses([3, 3, 5], [1, 1, 0], patient=["b", "a", "c"], apart=True)
    assert_array_equal(found.patients, [1, 1, 1])
    assert_array_equal(found.tables(np.array([[0, 0, 1.0]]))[0].time, [5])


def test_nobody_has_no_course():
    assert courses([], []).patients.size == 0


CURVES = ManyCurves(
    table=event_table([1, 2, 3, 4, 2, 9], [1, 2, 1, 1, 1, 0], group=list("aaaabb"), groups=["a", "b", "c"])
)


def test_two_small_groups_and_one_with_nobody_worked_by_hand():
    """a: events at 1, 2 (the other cause), 3, 4; b: one of two at 2, the other left at 9. Median of b runs 2 to 9."""
    assert_allclose(median_of().of(CURVES), [2.5, 5.5, np.nan])
    assert_allclose(median_of(1).of(CURVES), [3.5, 5.5, np.nan])
    assert_allclose(median_of(2).of(CURVES), [np.inf, np.inf, np.nan])
    assert_allclose(median_of(1, midpoint=False).of(CURVES), [3, 2, np.nan])
    assert_allclose(height_of(3, 1).of(CURVES), [0.5, 0.5, np.nan])
    assert_allclose(height_of(0).of(CURVES), [1, 1, np.nan])
    assert_allclose(restricted_mean_of(4).of(CURVES), [2.5, 3, np.nan])
    assert_allclose(restricted_mean_of(20, 2).of(CURVES), [18 / 4, np.nan, np.nan])


def test_names_say_what_was_read():
    named = [each.name for each in (median_of(), median_of(1, p=0.25), height_of(90, "death"), restricted_mean_of(180))]
    assert named == ["median", "25% quantile, 1", "incidence at 90, death", "restricted mean to 180"]


@pytest.mark.parametrize(("unknown", "limits"), [(4, True), (5, True), (6, False)])
def test_up_to_five_per_cent_of_resamples_may_be_unknown(unknown, limits):
    values = np.append(np.arange(100.0 - unknown), np.full(unknown, np.nan))
    assert np.isfinite(_percentiles(50.0, values, 0.025, 20, still=False).low) == limits


@pytest.mark.parametrize(("patients", "limits"), [(9, False), (10, True), (11, True)])
def test_limits_need_ten_patients(patients, limits):
    assert np.isfinite(_percentiles(50.0, np.arange(100.0), 0.025, patients, still=False).low) == limits
