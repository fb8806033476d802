"""Resolution dated in other ways, its means and its comparisons cover the truth of the invented registry."""

import json

import numpy as np
import pytest

from necrostats import bundled
from necrostats.measures import (
    bootstrap_resolution,
    compare_resolution,
    interval_censored_resolution,
    restricted_mean_resolution,
    session_regression,
)
from necrostats.measures.between_scans import BETWEEN, DOCUMENTED
from necrostats.registry.loading import read_registry

TRUTH = json.loads((bundled.synthetic_registry() / "truth.json").read_text(encoding="utf-8"))["resolution"]
NO_EFFECT_OF = ("sex", "aetiology", "infection", "age_band")


@pytest.fixture(scope="module")
def registry():
    return read_registry(bundled.synthetic_registry() / "tidy")


@pytest.fixture(scope="module")
def dated(registry):
    return interval_censored_resolution(registry, replicates=200)


@pytest.mark.parametrize("day", [30, 60, 90, 180])
@pytest.mark.parametrize(("way", "kind"), [(DOCUMENTED, "documented"), (BETWEEN, "true")])
def test_the_documented_curve_covers_documented_and_the_interval_censored_one_true_resolution(dated, way, kind, day):
    table = dated.frame
    row = table[(table["cause"] == way) & (table["days"] == day)].iloc[0]
    assert row["low"] <= TRUTH["by_day"][kind]["resolved"][str(day)]["value"] <= row["high"]


@pytest.mark.parametrize(("way", "kind"), [(DOCUMENTED, "documented"), (BETWEEN, "true")])
def test_medians_cover_the_truth_each_its_own(dated, way, kind):
    row = dated.medians[dated.medians["cause"] == way].iloc[0]
    assert row["low"] <= TRUTH["median_day"][kind] <= row["high"]


@pytest.mark.parametrize("way", ["by formula", "by bootstrap"])
def test_intervals_by_formula_and_by_bootstrap_cover_the_incidence_by_day_90_and_the_median(registry, way):
    table = bootstrap_resolution(registry).frame
    rows = table[table["variable"] == way].set_index("measure")
    share = rows.loc["cumulative incidence of resolution by day 90"]
    assert share["low"] <= TRUTH["by_day"]["documented"]["resolved"]["90"]["value"] <= share["high"]
    median = rows.loc["median days to resolution"]
    assert median["low"] <= TRUTH["median_day"]["documented"] <= median["high"]


def test_the_mean_number_of_the_first_seven_sessions_after_resolution_covers_the_truth(registry):
    """The area under the true incidence within 0 to 6 sessions."""
    truth = sum(TRUTH["within_sessions"]["documented"]["resolved"][str(k)]["value"] for k in range(7))
    table = restricted_mean_resolution(registry, axis="sessions", tau=7).frame
    row = table[table["variable"] == "after resolution"].iloc[0]
    assert row["low"] <= truth <= row["high"]


@pytest.mark.parametrize("by", NO_EFFECT_OF)
def test_what_has_no_effect_on_resolution_is_not_found_to_have_one(registry, by):
    """Baseline columns are drawn without regard to resolution: intervals hold no difference, Gray's test is silent."""
    table = compare_resolution(registry, by=by).frame
    first = table[
        table["measure"].isin(["difference in incidence by day 90", "difference in mean days resolved up to day 180"])
    ]
    gaps = first[np.isfinite(first["low"])]
    assert len(gaps) and (gaps["p_value"] > 0.05).all()
    gray = table[table["measure"].astype(str).str.startswith("Gray")].iloc[0]
    assert gray["p_value"] > 0.05


def test_the_model_of_person_sessions_finds_no_effect_of_infection_or_sex(registry):
    table = session_regression(registry, covariates=("infection", "sex")).frame
    assert ((table["low"] < 1) & (table["high"] > 1)).all()
