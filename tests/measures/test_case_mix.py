from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.many_courses import with_tables
from necrostats.bundled import synthetic_registry
from necrostats.errors import ChoiceError
from necrostats.measures import activity, case_mix, collection_volumes, data_completeness
from necrostats.present import chart, table
from necrostats.registry.loading import read_registry
from necrostats.registry.tables import registry_from
from necrostats.results import Summary


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


def _axis(*courses: Course, **options):
    return collection_volumes(registry_of(*courses), size="long_mm", **options)


def _row(result, level: str) -> pd.Series:
    return result.frame[result.frame["level"] == level].iloc[0]


def test_a_collection_counts_once_in_a_window_with_its_last_value():
    row = _row(_axis(Course(scans=[(16, 90.0), (20, 80.0), (28, 40.0)]), Course(scans=[(18, 60.0)])), "days 15–28")
    assert (row["n"], row["patients"], row["estimate"]) == (2, 2, 50.0)


def test_nothing_is_carried_forward_past_the_last_scan():
    result = _axis(Course(scans=[(10, 90.0)]))
    assert result.frame.loc[result.frame["n"] > 0, "level"].tolist() == ["days 1–14"]
    assert result.series["day"].max() == 10
    assert _row(result, "days 61–90")["missing"] == 1
    assert np.isnan(_row(result, "days 61–90")["estimate"])


def test_a_longest_axis_of_zero_is_a_volume_of_zero_and_other_axes_make_no_volume():
    result = collection_volumes(registry_of(Course(scans=[(10, 90.0), (40, 0.0)])))
    assert result.series[["day", "value"]].to_numpy().tolist() == [[40, 0.0]]
    assert result.population.left_out["scans without this size"] == 1


def test_the_baseline_counts_where_no_scan_stands_on_its_day():
    index = {"long_mm": 120.0, "baseline_scan_day": -5}
    assert _axis(Course(scans=[(30, 50.0)], index=index)).series["value"].tolist() == [120.0, 50.0]
    assert _axis(Course(scans=[(-5, 118.0), (30, 50.0)], index=index)).series["value"].tolist() == [118.0, 50.0]
    assert _axis(Course(scans=[(-5, None)], index=index)).series["value"].tolist() == [120.0]


def test_medians_and_quartiles_are_those_of_the_last_values_of_the_window():
    registry = read_registry(synthetic_registry() / "tidy")
    result = collection_volumes(registry, by="infection", size="long_mm")
    scans = registry.scans[registry.scans["day"].between(61, 90) & registry.scans["long_mm"].notna()]
    last = scans.sort_values("day", kind="stable").drop_duplicates("collection_id", keep="last")
    infection = registry.patients["infection"].to_numpy()[last["patient_id"].cat.codes]
    row = result.frame[(result.frame["group"] == "confirmed") & (result.frame["level"] == "days 61–90")].iloc[0]
    expected = np.quantile(last.loc[infection == "confirmed", "long_mm"], [0.25, 0.5, 0.75])
    assert row["n"] == int((infection == "confirmed").sum())
    np.testing.assert_allclose([row["low"], row["estimate"], row["high"]], expected)
    assert isinstance(result, Summary)


def test_scans_after_the_last_window_are_counted_and_left_out():
    result = _axis(Course(scans=[(30, 50.0), (181, 10.0), (300, 0.0)], last_contact=300))
    assert result.population.left_out["scans after day 180"] == 2
    assert result.series["day"].tolist() == [30]


def test_windows_stand_beside_the_rows_of_the_table():
    result = _axis(Course(scans=[(2, 50.0), (9, 40.0)]), Course(scans=[(13, 30.0)]), by="sex")
    assert len(result.windows) == len(result.frame)
    everybody = _axis(Course(scans=[(2, 50.0), (9, 40.0)]), Course(scans=[(13, 30.0)]))
    assert everybody.windows.iloc[1].tolist() == [1, 14, 11.0]


def test_collections_are_numbered_by_their_first_size_and_carry_no_id():
    result = _axis(Course(scans=[(5, 40.0)]), Course(scans=[(5, 90.0)]))
    assert result.series[["collection", "value"]].to_numpy().tolist() == [[1, 90.0], [2, 40.0]]
    assert "P1C1" not in result.series.astype(str).to_numpy()


def test_a_median_says_that_it_is_of_those_scanned_and_few_are_named():
    notes = {note.code: note.text for note in _axis(Course(scans=[(5, 40.0)]), Course()).notes}
    assert "in days 91–180 that was 0 of 2 collections" in notes["MISSING"]
    assert "1 window has fewer than 5 collections" in notes["SMALL_N"]


def test_an_unknown_size_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="volume_ml, long_mm"):
        collection_volumes(registry_of(Course()), size="width")


def test_no_scan_and_nobody_give_empty_windows():
    for registry, patients in ((registry_of(Course()), 0), (registry_of(), 0)):
        result = collection_volumes(registry)
        assert result.series.empty
        assert result.frame["n"].sum() == 0
        assert result.population.patients == patients


def test_a_group_without_collections_keeps_its_rows():
    registry = registry_of(Course(scans=[(5, 40.0)], about={"sex": "male"}))
    table = collection_volumes(with_tables(registry), by="sex", size="long_mm").frame
    assert list(table["group"].cat.categories) == ["female", "male", "other"]
    assert len(table) == 18


@pytest.mark.parametrize(("scanned", "few"), [(4, True), (5, False), (6, False)])
def test_fewer_than_five_collections_in_a_window_are_few(scanned, few):
    notes = _axis(*[Course(scans=[(5, 40.0)])] * scanned).notes
    assert ("SMALL_N" in [note.code for note in notes]) == few
