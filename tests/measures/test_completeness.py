from builders.courses import Course, registry_of
from necrostats.measures import data_completeness


def test_completeness_asks_for_a_column_only_where_it_applies():
    table = data_completeness(registry_of(Course(necrosectomies=[5]), Course(died_on=9))).table.set_index("variable")
    assert table.loc["sessions.texture", ["events", "n"]].tolist() == [0, 1]
    assert table.loc["patients.death_day", ["events", "n"]].tolist() == [1, 1]
    assert "sessions.also_treated" not in table.index


def test_an_empty_table_has_no_share_rather_than_a_full_one():
    table = data_completeness(registry_of(Course())).table.set_index("variable")
    assert table.loc["stents.end_reason", "n"] == 0
    assert table["estimate"].isna()["stents.end_reason"]
