from builders.courses import Course, registry_of
from necrostats.measures import adverse_event_cases


def test_the_case_list_holds_no_identifier_no_date_and_no_age():
    course = Course(events=[(2, "bleeding")], about={"age_years": 67, "infection": "confirmed"})
    table = adverse_event_cases(registry_of(course)).table
    assert list(table.columns) == [
        "case", "age_band", "extent_class", "event_type", "day", "agree_grade", "attribution", "treatment",
    ]  # fmt: skip
    assert table.loc[0, "age_band"] == "60–74"
    assert "P1" not in table.to_string()
    assert "67" not in table.to_string()
