from builders.courses import Course, registry_of
from necrostats.measures import data_completeness
from necrostats.present import chart
from necrostats.registry.tables import registry_from


def test_completeness_asks_for_a_column_only_where_it_applies():
    table = data_completeness(registry_of(Course(necrosectomies=[5]), Course(died_on=9))).table.set_index("variable")
    assert table.loc["sessions.texture", ["events", "n"]].tolist() == [0, 1]
    assert table.loc["patients.death_day", ["events", "n"]].tolist() == [1, 1]
    assert "sessions.also_treated" not in table.index


def test_an_empty_table_has_no_share_rather_than_a_full_one():
    table = data_completeness(registry_of(Course())).table.set_index("variable")
    assert table.loc["stents.end_reason", "n"] == 0
    assert table["estimate"].isna()["stents.end_reason"]


def _two_quarters():
    tables = registry_of(Course(necrosectomies=[5, 120], scans=[(3, 90), (130, 40)])).tables
    sessions = tables["sessions"].assign(period=["2024Q1", "2024Q1", "2024Q2"])
    return registry_from({**tables, "sessions": sessions})


def test_a_registry_narrowed_to_a_quarter_says_which_rows_are_of_the_quarter_and_which_are_whole_histories():
    """One of three sessions is of the quarter; both scans count, though one is of the quarter before."""
    result = data_completeness(_two_quarters().during("2024Q2"))
    rows = result.table.set_index("variable")["n"]
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
