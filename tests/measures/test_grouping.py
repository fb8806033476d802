import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures.grouping import one_group, patient_groups, session_groups


def test_without_a_grouping_everybody_is_in_one_group():
    assert patient_groups(registry_of(Course(), Course()), None).codes.tolist() == [0, 0]


def test_every_code_is_a_group_and_a_blank_is_none():
    groups = patient_groups(registry_of(Course(about={"sex": "male"}), Course()), "sex")
    assert groups.labels == ("female", "male", "other")
    assert groups.codes.tolist() == [1, -1]
    assert groups.left_out == 1


def test_a_whole_number_is_grouped_in_order():
    courses = [Course(about={"asa_class": each}) for each in (3, 1)]
    assert patient_groups(registry_of(*courses), "asa_class").labels == ("1", "3")


def test_bands_of_age_and_extent_are_groups():
    registry = registry_of(Course(about={"age_years": 44}))
    assert patient_groups(registry, "age_band").codes.tolist() == [1]
    assert patient_groups(registry, "extent_class").labels == ("low", "high", "unclassified")


def test_sessions_take_the_group_of_their_patient_or_their_own():
    registry = registry_of(Course(necrosectomies=[3], about={"sex": "female"}), Course())
    assert session_groups(registry, "sex").codes.tolist() == [0, 0, -1]
    assert session_groups(registry, "session_type").codes.tolist() == [0, 1, 0]


def test_what_is_known_only_later_is_refused_with_the_reason():
    with pytest.raises(DesignError, match="stay under treatment long enough"):
        patient_groups(registry_of(Course()), "duct")


def test_an_unknown_name_is_a_choice_error():
    with pytest.raises(ChoiceError, match="age_band"):
        patient_groups(registry_of(Course()), "shoe_size")


def test_a_column_keeps_the_groups_with_nobody():
    assert one_group(3).column([0, 0]).categories.tolist() == ["all"]


@pytest.mark.parametrize(
    "later",
    [
        "ever_powered_debrider", "Number of sessions", "powered_debrider", "snare", "necrosectomies", "lavage",
        "had surgery", "stent exchanged", "ever-treated with cap_suction", "percutaneous drain", "recurrence", "duct",
    ],
)  # fmt: skip
def test_whatever_speaks_of_the_treatment_is_refused_with_the_reason_and_what_to_ask_instead(later):
    with pytest.raises(DesignError, match="immortal time") as refused:
        patient_groups(registry_of(Course()), later)
    assert "landmark_resolution" in str(refused.value)
    assert "ever_used_trap" in str(refused.value)


@pytest.mark.parametrize("misspelt", ["etiology", "infecton", "magnet", "age"])
def test_a_misspelt_name_is_not_taken_for_something_later(misspelt):
    with pytest.raises(ChoiceError):
        patient_groups(registry_of(Course()), misspelt)
