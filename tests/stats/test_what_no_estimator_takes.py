"""Dates, texts, missing values and mixed labels: one plain error in every estimator that takes numbers or labels."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from necrostats.errors import NecrostatsError, StatisticsError
from necrostats.stats import (
    clustered,
    confounding,
    control_charts,
    cox,
    curve_tests,
    curves,
    discrete_hazard,
    event_tables,
    gee,
    incidence,
    means,
    mixed,
    multiplicity,
    npmle,
    ordinal,
    parametric_times,
    power,
    proportions,
    ranged_intercept,
    rates,
    resampling,
    restricted_means,
    subdistribution,
)
from necrostats.stats.comparisons import stratified, two_shares
from necrostats.stats.comparisons.rate_ratio import clustered_odds_ratio, rate_ratio
from necrostats.stats.comparisons.risk_difference import number_needed, odds_ratio, risk_difference, risk_ratio

N = 12
DAYS = [date(2024, 1, 1) + timedelta(each) for each in range(N)]
TIMES = np.arange(1, N + 1)
NO_NUMBERS = {
    "dates": DAYS,
    "a date after numbers": [1, *DAYS[1:]],
    "datetimes": [datetime(2024, 1, 1)] * N,
    "timestamps": pd.to_datetime(DAYS),
    "lengths of time": [timedelta(1)] * N,
    "timedeltas": pd.to_timedelta(TIMES, unit="D"),
    "text numbers": [str(each) for each in TIMES],
    "text objects": np.array([str(each) for each in TIMES], dtype=object),
    "missing": [np.nan, *TIMES[1:]],
    "none": [None, *TIMES[1:].tolist()],
    "pandas missing": pd.array([None, *TIMES[1:].tolist()], dtype="Int64"),
    "complex": TIMES + 1j,
    "a text": "abc",
    "a mapping": {"a": 1},
    "below zero": -TIMES,
    "rows of different lengths": [[1], [1, 2]] * (N // 2),
}
MAY_BE_BELOW_ZERO = {"covariates", "y", "x", "values", "reference", "design", "p_values"}
NO_LABELS = {
    "mixed": ["a", 1] * (N // 2),
    "with none": ["a", None] * (N // 2),
    "with not a number": ["a", float("nan")] * (N // 2),
    "with pandas missing": ["a", pd.NA] * (N // 2),
    "a category missing": pd.Categorical(["a", None] * (N // 2)),
    "dates and numbers": [1, *DAYS[1:]],
    "times and nothing": [pd.NaT, pd.Timestamp("2024")] * (N // 2),
    "rows of different lengths": [[1], [1, 2]] * (N // 2),
}
NUMBERS = {
    "time": TIMES,
    "event": [1, 0] * (N // 2),
    "cause": [1, 0, 2] * (N // 3),
    "entry": np.zeros(N),
    "covariates": np.sin(TIMES),
    "left": TIMES * 1.0,
    "right": TIMES + 2.0,
    "y": np.cos(TIMES),
    "x": np.column_stack([np.ones(N), np.sin(TIMES)]),
    "values": np.sin(TIMES),
    "reference": np.cos(TIMES),
    "events": [1, 0, 2] * (N // 3),
    "n": np.full(N, 3),
    "exposure": TIMES * 1.0,
    "outcome": [1, 0] * (N // 2),
    "sessions": TIMES,
    "category": [0, 1, 2] * (N // 3),
    "weights": np.ones(N),
}
LABELS = {name: np.arange(N) // 2 for name in ("group", "strata", "cluster", "patient", "groups")}
CALLS = {
    "event_table": (event_tables.event_table, "time cause entry weights", "group"),
    "kaplan_meier": (incidence.kaplan_meier, "time event entry weights", "group cluster"),
    "aalen_johansen": (incidence.aalen_johansen, "time cause entry weights", "group cluster"),
    "follow_up": (incidence.follow_up, "time cause entry", "group"),
    "equal_precision_band": (incidence.equal_precision_band, "time event", ""),
    "log_rank": (curve_tests.log_rank, "time event entry", "group strata"),
    "gray_test": (curve_tests.gray_test, "time cause", "group strata"),
    "cox": (cox.cox, "time event covariates entry", "strata cluster"),
    "proportional_hazards": (cox.proportional_hazards, "time event covariates entry", "strata"),
    "fine_gray": (subdistribution.fine_gray, "time cause covariates", ""),
    "npmle": (npmle.npmle, "left weights", ""),
    "parametric_times": (parametric_times.parametric_times, "left covariates", "cluster"),
    "discrete_hazard": (discrete_hazard.discrete_hazard, "sessions event covariates", ""),
    "person_sessions": (discrete_hazard.person_sessions, "sessions event", ""),
    "mean": (means.mean, "values", ""),
    "mean_difference": (means.mean_difference, "values reference", ""),
    "rank_sum": (means.rank_sum, "values reference", ""),
    "random_intercept": (mixed.random_intercept, "y x", "groups"),
    "least_squares": (clustered.least_squares, "y x", "groups"),
    "within_groups": (clustered.within_groups, "y x", "groups"),
    "proportional_odds": (ordinal.proportional_odds, "category x", "groups"),
    "clopper_pearson": (proportions.clopper_pearson, "events n", ""),
    "mid_p": (proportions.mid_p, "events n", ""),
    "blaker": (proportions.blaker, "events n", ""),
    "jeffreys": (proportions.jeffreys, "events n", ""),
    "wilson": (proportions.wilson, "events n", ""),
    "korn_graubard": (proportions.korn_graubard, "events n", "cluster"),
    "garwood": (rates.garwood, "events exposure", ""),
    "mid_p of a rate": (rates.mid_p, "events exposure", ""),
    "dispersion": (rates.dispersion, "events exposure", ""),
    "clustered_rate": (rates.clustered_rate, "events exposure", ""),
    "count_regression": (rates.count_regression, "events covariates exposure", "cluster"),
    "clustered_odds_ratio": (clustered_odds_ratio, "outcome", "cluster"),
    "freeman_halton": (two_shares.freeman_halton, "events n", ""),
    "run_chart": (control_charts.run_chart, "values", ""),
}
MORE = {
    "right": {"npmle", "parametric_times"},
    "in_group": {"clustered_odds_ratio"},
    "fewest_events": {"cox", "proportional_hazards", "fine_gray", "parametric_times"},
}


def _given(name: str) -> dict:
    numbers, labels = (CALLS[name][place].split() for place in (1, 2))
    given = {each: NUMBERS[each] for each in numbers} | {each: LABELS[each] for each in labels}
    given |= {"right": NUMBERS["right"]} if name in MORE["right"] else {}
    given |= {"in_group": [1, 1, 0, 0] * (N // 4)} if name in MORE["in_group"] else {}
    return given | ({"fewest_events": 0} if name in MORE["fewest_events"] else {})


@pytest.mark.parametrize("name", CALLS)
def test_the_plain_call_is_answered(name):
    assert CALLS[name][0](**_given(name)) is not None


@pytest.mark.parametrize(("name", "what"), [(name, each) for name in CALLS for each in CALLS[name][1].split()])
def test_what_is_no_number_is_one_plain_error(name, what):
    for wrong, values in NO_NUMBERS.items():
        if wrong == "below zero" and what in MAY_BE_BELOW_ZERO:
            continue
        with pytest.raises(StatisticsError) as told:
            CALLS[name][0](**_given(name) | {what: values})
        assert "\n" not in str(told.value), wrong


@pytest.mark.parametrize(("name", "what"), [(name, each) for name in CALLS for each in CALLS[name][2].split()])
def test_what_is_no_label_is_one_plain_error(name, what):
    for values in NO_LABELS.values():
        with pytest.raises(StatisticsError):
            CALLS[name][0](**_given(name) | {what: values})


TAKES_COVARIATES = [(name, each) for name in CALLS for each in CALLS[name][1].split() if each in ("covariates", "x")]


@pytest.mark.parametrize(("name", "what"), TAKES_COVARIATES)
@pytest.mark.parametrize(
    "values", [5, [], np.ones((N, 2, 2)), np.ones(N - 1)], ids=["scalar", "empty", "cube", "short"]
)
def test_covariates_that_are_no_column_are_one_plain_error(name, what, values):
    with pytest.raises(StatisticsError):
        CALLS[name][0](**_given(name) | {what: values})


CURVE = incidence.kaplan_meier(TIMES, [1, 0] * (N // 2))
SEEDED = {
    "bootstrap": lambda seed: resampling.bootstrap(
        TIMES, NUMBERS["cause"], [resampling.median_of(1)], replicates=20, random=seed
    ),
    "npmle_band": lambda seed: npmle.npmle_band(NUMBERS["left"], NUMBERS["right"], [3], replicates=5, random=seed),
    "permute_within": lambda seed: clustered.permute_within(
        NUMBERS["y"], [0, 1] * (N // 2), LABELS["groups"], seed=seed
    ),
    "dunnett_p": lambda seed: multiplicity.dunnett_p([2.0, 1.0], np.eye(2), 10, random=seed),
    "cusum_threshold": lambda seed: control_charts.cusum_threshold(0.2, 10, random=seed),
}


@pytest.mark.parametrize("name", SEEDED)
@pytest.mark.parametrize("seed", [-1, 1.5, "7", None, True])
def test_what_is_no_seed_is_one_plain_error(name, seed):
    with pytest.raises(StatisticsError, match="no seed"):
        SEEDED[name](seed)


LEVELS = {
    "clopper_pearson": lambda level: proportions.clopper_pearson(1, 2, level=level),
    "garwood": lambda level: rates.garwood(1, 2, level=level),
    "mean": lambda level: means.mean([1.0, 2.0], level=level),
    "kaplan_meier": lambda level: incidence.kaplan_meier(TIMES, [1] * N, level=level),
    "cox": lambda level: cox.cox(TIMES, [1] * N, NUMBERS["covariates"], level=level),
    "risk_difference": lambda level: risk_difference(1, 2, 1, 2, level=level),
    "risk_difference by Newcombe": lambda level: risk_difference(1, 2, 1, 2, level=level, method="newcombe"),
    "risk_ratio": lambda level: risk_ratio(1, 2, 1, 2, level=level),
    "odds_ratio": lambda level: odds_ratio(1, 2, 1, 2, level=level),
    "number_needed": lambda level: number_needed(1, 2, 1, 2, level=level),
    "rate_ratio": lambda level: rate_ratio(1, 2, 1, 2, level=level),
    "mantel_haenszel": lambda level: stratified.mantel_haenszel([1], [2], [1], [2], level=level),
    "firth_logistic": lambda level: gee.firth_logistic([1, 2], [3, 3], np.eye(2), level=level),
    "predicted_events": lambda level: control_charts.predicted_events(1, 2, 3, level=level),
    "bootstrap": lambda level: resampling.bootstrap(
        TIMES, NUMBERS["cause"], [resampling.median_of(1)], replicates=20, level=level
    ),
}


@pytest.mark.parametrize("name", LEVELS)
@pytest.mark.parametrize("level", [95, 0, 1, -0.5, float("nan"), "95 %", [0.9, 0.95], None])
def test_what_is_no_level_is_one_plain_error(name, level):
    with pytest.raises(StatisticsError):
        LEVELS[name](level)


COUNTED = {
    "boschloo": two_shares.boschloo,
    "fisher": two_shares.fisher,
    "fisher_mid_p": two_shares.fisher_mid_p,
    "chi_squared": two_shares.chi_squared,
    "odds_ratio": odds_ratio,
    "risk_difference": risk_difference,
    "risk_ratio": risk_ratio,
    "number_needed": number_needed,
    "mantel_haenszel": stratified.mantel_haenszel,
    "breslow_day": stratified.breslow_day,
}


@pytest.mark.parametrize("name", COUNTED)
@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize(
    "value", [-1, 0.5, 11, float("nan"), float("inf"), "3", None, DAYS[0], timedelta(3), 3j, 1e300], ids=repr
)
def test_what_is_no_count_is_one_plain_error(name, place, value):
    counts = [3, 10, 2, 10]
    counts[place] = value
    if value == 11 and place in (1, 3):
        return
    with pytest.raises(StatisticsError):
        COUNTED[name](*counts)


SINGLE = {
    "share_against": lambda value: two_shares.share_against(3, 10, value),
    "quantile": lambda value: curves.quantile(CURVE, value),
    "at": lambda value: curves.at(CURVE, value),
    "restricted_mean": lambda value: restricted_means.restricted_mean(CURVE, value),
    "heights": lambda value: restricted_means.heights(CURVE, value),
    "height_of": lambda value: resampling.height_of(value),
    "restricted_mean_of": lambda value: resampling.restricted_mean_of(value),
    "e_value": lambda value: confounding.e_value(value, 1, 2),
    "power_of_t": lambda value: power.power_of_t(value, 1, 10),
    "event_free_to_exclude": lambda value: power.event_free_to_exclude(value),
    "upper_limit": lambda value: power.upper_limit(value, 10),
    "share_chart": lambda value: control_charts.share_chart(value, 10),
    "rate_chart": lambda value: control_charts.rate_chart(value, 10),
    "gap_chart": lambda value: control_charts.gap_chart(value),
    "time_chart": lambda value: control_charts.time_chart(value),
    "predicted_events": lambda value: control_charts.predicted_events(value, 10, 5),
    "holm": lambda value: multiplicity.holm([value, 0.5]),
    "tukey_p": lambda value: multiplicity.tukey_p(value, 3, 10),
    "mcnemar": lambda value: stratified.mcnemar(value, 3),
    "ranged_intercept": lambda value: ranged_intercept.ranged_intercept([value, 1], [2, 2], [[1], [1]], [0, 0]),
}


@pytest.mark.parametrize("name", SINGLE)
@pytest.mark.parametrize("value", ["3", DAYS[0], timedelta(3), 3j, [1, DAYS[0]]], ids=repr)
def test_one_value_that_is_no_number_is_one_plain_error(name, value):
    with pytest.raises(NecrostatsError):
        SINGLE[name](value)
