import pytest

from builders.courses import Course, registry_of
from necrostats import bundled
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.errors import ChoiceError
from necrostats.measures import recurrence
from necrostats.present import chart, describe
from necrostats.registry.loading import read_registry


def _resolved(day=40, later=(), **more):
    return Course(scans=[(day, 10), *later], well_on=[day], last_contact=more.pop("last_contact", 400), **more)


def _at(result, day, cause="recurrence"):
    table = result.table
    return table[(table["days"] == day) & (table["cause"] == cause)].iloc[0]


def test_four_patients_worked_by_hand_from_the_day_of_resolution():
    """Days from resolution: large scan 60, dead 100, a further session 200, last seen well at 360."""
    registry = registry_of(
        _resolved(later=[(100, 45)]), _resolved(died_on=140), _resolved(necrosectomies=[240]), _resolved(),
        Course(scans=[(40, 80)]),
    )  # fmt: skip
    result = recurrence(registry, days=(60, 100, 200))
    assert [_at(result, day)["estimate"] for day in (60, 100, 200)] == pytest.approx([0.25, 0.25, 0.5])
    assert [_at(result, day, "death")["estimate"] for day in (60, 100)] == pytest.approx([0, 0.25])
    assert result.population.patients == 4
    assert result.population.left_out["patients not resolved"] == 1


@pytest.mark.parametrize(
    ("more", "counts"),
    [
        ({"later": [(100, 31)]}, True),
        ({"later": [(100, 30)]}, False),
        ({"surgery_on": 100}, True),
        ({"drain_on": 100}, True),
        ({"necrosectomies": [30]}, False),
        ({"necrosectomies": [40]}, False),
        ({"late_collection": (100, [(100, 60)])}, True),
    ],
)
def test_what_counts_as_recurrence(more, counts):
    assert _at(recurrence(registry_of(_resolved(**more))), 90)["estimate"] == float(counts)


def test_death_first_means_no_recurrence():
    assert _at(recurrence(registry_of(_resolved(died_on=90))), 90, "death")["estimate"] == 1


def test_another_size_can_be_asked_for_and_a_relative_definition_falls_back_on_30_mm():
    registry = registry_of(_resolved(later=[(100, 45)]))
    assert _at(recurrence(registry, size_mm=50), 90)["estimate"] == 0
    half = ResolutionDefinition(name="half", size_mm=None, share_of_baseline=0.5, symptom_free=False)
    halved = registry_of(Course(scans=[(0, 90), (40, 40), (100, 45)], last_contact=400))
    assert "longer than 30 mm" in recurrence(halved, definition=half).method.definition
    with pytest.raises(ChoiceError, match="size_mm is -5"):
        recurrence(registry, size_mm=-5)


def test_patients_not_scanned_again_are_counted_in_a_note():
    notes = [note.text for note in recurrence(registry_of(_resolved(), _resolved(later=[(80, 5)]))).notes]
    assert any(text.startswith("1 resolved patient was not scanned after resolution") for text in notes)


def test_the_share_of_the_invented_registry_is_covered():
    """recurrence_share 0.05 of its parameters."""
    row = _at(recurrence(read_registry(bundled.synthetic_registry() / "tidy")), 365)
    assert row["conf_low"] <= 0.05 <= row["conf_high"]


def test_it_says_that_days_count_from_resolution():
    result = recurrence(registry_of(*[_resolved()] * 6))
    assert describe(result).startswith(
        "Within 90 days of documented resolution none of 6 patients (95 % CI 0–45.9 %) had a recurrence"
    )
    assert "Days from documented resolution" in [text.get_text() for text in chart(result).fig.texts]


def test_nobody_resolved_gives_an_empty_answer_and_no_error():
    result = recurrence(registry_of(Course()))
    assert result.population.patients == 0
    assert result.table["estimate"].isna().all()
