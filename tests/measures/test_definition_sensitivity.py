import json

import pytest

from builders.courses import Course, registry_of
from necrostats import bundled
from necrostats.definitions.resolution import (
    DOCUMENTED_RESOLUTION,
    DRAIN_AS_ADJUNCT,
    RESOLUTION_CATALOGUE,
    ResolutionDefinition,
)
from necrostats.errors import ChoiceError
from necrostats.measures import sensitivity, sessions_to_resolution, time_to_resolution
from necrostats.present import chart, table, words
from necrostats.registry.loading import read_registry

SCAN = ResolutionDefinition(name="scan alone", symptom_free=False)
TWENTY = ResolutionDefinition(name="20 mm", size_mm=20)


def _registry():
    """Ten followed throughout: 25 mm and well on day 40 (4), 25 mm and unwell (3), 15 mm and well on day 95 (3)."""
    well = Course(necrosectomies=[10], scans=[(0, 90), (40, 25)], well_on=[40])
    unwell = Course(necrosectomies=[10, 20], scans=[(0, 90), (40, 25)], unwell_on=[40])
    late = Course(necrosectomies=[10, 20], scans=[(0, 90), (95, 15)], well_on=[95])
    return registry_of(*[well] * 4, *[unwell] * 3, *[late] * 3)


def _figures(result):
    return dict(zip(result.frame["variable"], result.frame["estimate"], strict=True))


def test_the_same_day_under_each_definition_worked_by_hand():
    result = sensitivity(_registry(), definitions=(DOCUMENTED_RESOLUTION, SCAN, TWENTY))
    assert _figures(result) == pytest.approx({DOCUMENTED_RESOLUTION.name: 0.4, "scan alone": 0.7, "20 mm": 0})
    assert result.frame["events"].tolist() == [4, 7, 0]
    assert result.frame["n"].tolist() == [10, 10, 10]


def test_each_figure_is_that_of_the_measure_under_that_definition():
    registry = _registry()
    for definition, figure in zip(RESOLUTION_CATALOGUE, sensitivity(registry, at=60).frame.itertuples(), strict=True):
        table = time_to_resolution(registry, definition=definition, days=(60,)).frame
        row = table[(table["cause"] == "resolved") & (table["days"] == 60)].iloc[0]
        assert figure.estimate == row["estimate"]
        assert figure.variable == definition.name


def test_sessions_can_be_asked_for():
    registry = _registry()
    result = sensitivity(registry, measure="sessions", at=1, definitions=(SCAN,))
    table = sessions_to_resolution(registry, definition=SCAN).frame
    assert result.frame["estimate"].item() == table[table["sessions"] == 1]["estimate"].iloc[0] == 0.4


def test_a_definition_that_ends_before_the_day_has_no_figure_and_is_named():
    short = ResolutionDefinition(name="within 60 days", horizon_days=60)
    result = sensitivity(_registry(), definitions=(DOCUMENTED_RESOLUTION, short))
    assert result.frame["estimate"].isna().tolist() == [False, True]
    assert "within 60 days" in next(note.text for note in result.notes if note.code == "NOT_MATURED")


def test_a_note_that_concerns_one_definition_names_it():
    half = ResolutionDefinition(name="half", size_mm=None, share_of_baseline=0.5)
    registry = registry_of(*[Course(scans=[(40, 10)], well_on=[40])] * 5)
    notes = [note.text for note in sensitivity(registry, definitions=(DOCUMENTED_RESOLUTION, half)).notes]
    assert any("no size at baseline" in text and text.endswith("(Under: half.)") for text in notes)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"measure": "yield"}, "time, sessions"),
        ({"at": 0}, "at is 0"),
        ({"definitions": ()}, "definitions is empty"),
        ({"definitions": (SCAN, SCAN)}, 'one name: "scan alone"'),
    ],
)
def test_what_cannot_be_asked_is_refused(options, said):
    with pytest.raises(ChoiceError, match=said):
        sensitivity(_registry(), **options)


def test_it_is_one_forest_one_table_and_a_range():
    result = sensitivity(_registry())
    figure = chart(result)
    assert len(figure.fig.axes) == 1
    assert len(figure.data) == len(table(result).frame) == len(RESOLUTION_CATALOGUE)
    assert words(result).startswith("Cumulative incidence of resolution: from 0 % ")
    assert "documented resolution, 30 mm 40 % (95 % CI 12–67 %), 4 of 10 patients" in words(result)


def test_nobody_gives_an_empty_answer_and_no_error():
    result = sensitivity(_registry().select([False] * 10))
    assert result.frame["estimate"].isna().all()
    assert result.frame["n"].tolist() == [0] * len(RESOLUTION_CATALOGUE)
    assert chart(result).alt and words(result)


def test_the_drain_as_an_adjunct_covers_its_true_value_in_the_invented_registry():
    """synthetic_registry/truth.json: "documented, drain is not a failure", day 90 and within 3 sessions."""
    folder = bundled.synthetic_registry()
    registry = read_registry(folder / "tidy")
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["resolution"]
    by_day = truth["by_day"]["documented, drain is not a failure"]["resolved"]["90"]["value"]
    by_session = truth["within_sessions"]["documented, drain is not a failure"]["resolved"]["3"]["value"]
    for result, value in (
        (sensitivity(registry, definitions=(DRAIN_AS_ADJUNCT,)), by_day),
        (sensitivity(registry, measure="sessions", definitions=(DRAIN_AS_ADJUNCT,)), by_session),
    ):
        row = result.frame.iloc[0]
        assert row["low"] <= value <= row["high"]
