""""""

from __future__ import annotations

import pytest

from builders.courses import Course, registry_of
from necrostats.measures import activity, case_mix, data_completeness
from necrostats.present import chart, table
from necrostats.registry.tables import registry_from


def _rows(result, variable, group="all"):
    return result.frame[(result.frame["variable"] == variable) & (result.frame["group"] == group)]


def test_a_number_is_described_by_median_and_quartiles_and_what_is_missing():
    courses = [Course(about={"age_years": age}) for age in (40, 50, 60, 70, 80)]
    row = _rows(case_mix(registry_of(*courses, Course())), "age, years").iloc[0]
    assert tuple(row[["n", "missing", "estimate", "low", "high"]]) == (5, 1, 60, 50, 70)


def test_a_code_is_described_level_by_level_over_those_with_a_value():
    courses = [Course(about={"sex": "female"}), Course(about={"sex": "male"}), Course(about={"sex": "male"}), Course()]
    rows = _rows(case_mix(registry_of(*courses)), "sex").set_index("level")
    assert rows.loc["male", ["events", "n", "missing"]].tolist() == [2, 3, 1]
    assert rows.loc["other", "events"] == 0
    assert rows["estimate"].sum() == 1


def test_the_extent_class_leaves_the_gaps_of_the_rule_unclassified():
    """Baroud 2023: 2 quadrants and 30 % or less is low, 3 quadrants high; 1 quadrant at 40 % is in neither."""
    cases = [(2, 20.0), (3, 10.0), (1, 40.0)]
    courses = [Course(index={"quadrants": q, "solid_percent": s}) for q, s in cases]
    rows = _rows(case_mix(registry_of(*courses)), "extent class").set_index("level")
    assert rows["events"].to_dict() == {"low": 1, "high": 1, "unclassified": 1}


def test_groups_stand_side_by_side():
    courses = [Course(about={"sex": "female", "age_years": 30}), Course(about={"sex": "male", "age_years": 50})]
    result = case_mix(registry_of(*courses), by="sex")
    assert _rows(result, "age, years", "female")["estimate"].item() == 30
    assert _rows(result, "age, years", "other")["n"].item() == 0


def test_activity_counts_sessions_by_type():
    result = activity(registry_of(Course(necrosectomies=[5, 9])))
    rows = _rows(result, "session type").set_index("level")
    assert rows.loc["necrosectomy", "events"] == 2
    assert rows.loc["drainage", "events"] == 1


def test_an_extent_that_cannot_be_known_is_missing_and_not_a_class():
    courses = [Course(index={"quadrants": 1, "solid_percent": 20.0}), Course(), Course()]
    rows = _rows(case_mix(registry_of(*courses)), "extent class").set_index("level")
    assert rows.loc["low", ["events", "n", "missing"]].tolist() == [1, 1, 2]
    assert rows.loc["unclassified", "events"] == 0


def test_completeness_asks_for_a_column_only_where_it_applies():
    table = data_completeness(registry_of(Course(necrosectomies=[5]), Course(died_on=9))).frame.set_index("variable")
    assert table.loc["sessions.texture", ["events", "n"]].tolist() == [0, 1]
    assert table.loc["patients.death_day", ["events", "n"]].tolist() == [1, 1]
    assert "sessions.also_treated" not in table.index


def test_an_empty_table_has_no_share_rather_than_a_full_one():
    table = data_completeness(registry_of(Course())).frame.set_index("variable")
    assert table.loc["stents.end_reason", "n"] == 0
    assert table["estimate"].isna()["stents.end_reason"]


def _two_quarters():
    tables = registry_of(Course(necrosectomies=[5, 120], scans=[(3, 90), (130, 40)])).tables
    sessions = tables["sessions"].assign(period=["2024Q1", "2024Q1", "2024Q2"])
    return registry_from({**tables, "sessions": sessions})


def test_a_registry_narrowed_to_a_quarter_says_which_rows_are_of_the_quarter_and_which_are_whole_histories():
    """One of three sessions is of the quarter; both scans count, though one is of the quarter before."""
    result = data_completeness(_two_quarters().during("2024Q2"))
    rows = result.frame.set_index("variable")["n"]
    assert (rows["sessions.texture"], rows["scans.long_mm"]) == (1, 2)
    assert result.title == (
        "Completeness of the record: sessions and events of 2024Q2, and all other records of the patients treated then"
    )
    assert "adverse events are those of 2024Q2; patients, collections, stents, scans" in result.method.definition
    assert "sessions and events of 2024Q2" in chart(result).caption


def test_a_whole_registry_is_not_said_to_be_narrowed():
    result = data_completeness(_two_quarters())
    assert result.title == "Completeness of the record"
    assert "whole histories" not in result.method.definition


def _two_groups(ages, sexes=("female", "male")):
    of = [(sex, age) for sex, each in zip(sexes, ages, strict=True) for age in each]
    return registry_of(*(Course(about={"sex": sex, "age_years": age, "asa_class": 2}) for sex, age in of))


def test_groups_carry_the_standardised_difference_of_each_variable_and_no_p_value():
    """50, 55, 60, 65, 70 against 40, 45, 50, 55, 60: means 60 and 50, both variances 62.5, 10 / 7.9057."""
    result = case_mix(_two_groups(([50, 55, 60, 65, 70], [40, 45, 50, 55, 60])), by="sex")
    assert _rows(result, "age, years", "female")["difference"].item() == pytest.approx(1.26491, abs=5e-6)
    assert set(_rows(result, "asa class", "male")["difference"]) == {0}
    assert "p_value" not in result.frame.columns
    shown = table(result)
    assert shown.frame.columns[-1] == "Largest standardised difference"
    assert shown.frame.loc[shown.frame["Variable"] == "Age, years", shown.frame.columns[-1]].item() == "1.26"


def test_a_group_with_four_values_has_no_standardised_difference_and_one_with_five_has():
    five, four = [50, 55, 60, 65, 70], [40, 45, 50, 55]
    assert _rows(case_mix(_two_groups((five, four)), by="sex"), "age, years")["difference"].isna().all()
    assert _rows(case_mix(_two_groups((five, five)), by="sex"), "age, years")["difference"].eq(0).all()


def test_one_group_has_no_standardised_difference():
    assert "difference" not in case_mix(_two_groups(([50], [40]))).frame.columns
