from builders.courses import Course, registry_of
from necrostats.measures import activity, case_mix


def _rows(result, variable, group="all"):
    return result.table[(result.table["variable"] == variable) & (result.table["group"] == group)]


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
