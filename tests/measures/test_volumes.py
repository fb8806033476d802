from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.many_courses import with_tables
from necrostats.bundled import synthetic_registry
from necrostats.errors import ChoiceError
from necrostats.measures import collection_volumes
from necrostats.registry.loading import read_registry
from necrostats.results import Summary


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
