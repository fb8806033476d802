import json

import numpy as np
import pytest
from scipy import stats

from builders.courses import Course, registry_of
from necrostats import bundled
from necrostats.definitions.resolution import (
    DOCUMENTED_RESOLUTION,
    DRAIN_AS_ADJUNCT,
    RESOLUTION_CATALOGUE,
    ResolutionDefinition,
)
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import collection_resolution, sensitivity, sessions_to_resolution, time_to_resolution
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


def _one(day, **more):
    return Course(scans=[(day, 10)], well_on=[day], **more)


def _twins(day):
    return Course(scans=[(day, 10)], well_on=[day], late_collection=(0, [(day, 5)]))


def _at(result, day, cause="resolved", group="all"):
    table = result.frame
    return table[(table["days"] == day) & (table["cause"] == cause) & (table["group"] == group)].iloc[0]


def test_collections_of_one_patient_that_end_together_count_twice_but_err_as_one():
    """25 patients: the share by day 40 is the same with every collection doubled, and so is its interval."""
    days = list(range(20, 70, 2))
    single = collection_resolution(registry_of(*map(_one, days)))
    double = collection_resolution(registry_of(*map(_twins, days)))
    one, two = _at(single, 30), _at(double, 30)
    assert (two["at_risk"], one["at_risk"]) == (40, 20)
    for name in ("estimate", "low", "high"):
        assert two[name] == pytest.approx(one[name], rel=1e-12)


def test_without_censoring_the_error_is_that_of_a_share_of_clusters():
    """Of 30 patients with two collections 10 have both gone by day 30, 10 one and 10 none: share 0.5, by patient
    variance Σ(x − 0.5)² / 30² × 30/29 with x = 1, 0.5, 0; t limits on the log-log scale."""
    both, none = [_twins(20)] * 10, [_twins(60)] * 10
    half = [Course(scans=[(20, 10)], well_on=[20, 60], late_collection=(0, [(60, 5)]))] * 10
    row = _at(collection_resolution(registry_of(*both, *half, *none)), 30)
    error = np.sqrt(20 * 0.25) / 30
    spread = stats.t.ppf(0.975, 29) * error * np.sqrt(30 / 29) / (0.5 * np.log(2))
    assert row["estimate"] == pytest.approx(0.5)
    assert (row["low"], row["high"]) == pytest.approx((0.5 ** np.exp(spread), 0.5 ** np.exp(-spread)), abs=1e-6)


def test_the_index_collections_alone_resolve_no_later_than_their_patients():
    courses = [
        Course(scans=[(day, 10)], well_on=[day, day + 30], late_collection=(0, [(day + 30, 8)]))
        for day in range(20, 60)
    ]
    registry = registry_of(*courses)
    by_collection = collection_resolution(registry, by="is_index", days=(45,))
    by_patient = time_to_resolution(registry, days=(45,))
    index, other = (
        _at(by_collection, 45, group=group)["estimate"] for group in ("index collection", "other collection")
    )
    assert index > other == pytest.approx(_at(by_patient, 45)["estimate"])


def test_landmarks_have_rows_and_nothing_is_said_beyond_the_last_day_followed():
    result = collection_resolution(registry_of(_one(20), Course(last_contact=40)))
    assert {0, 30, 60, 90, 180} <= set(result.frame["days"])
    assert _at(result, 30)["estimate"] == 0.5 and np.isnan(_at(result, 60)["estimate"])


def test_the_population_counts_patients_and_collections_and_who_is_left_out():
    late = Course(last_contact=50, late_collection=(50, [(50, 60)]), about={"sex": "male"})
    result = collection_resolution(registry_of(late, _one(30, about={"sex": "male"}), _one(30)), by="sex")
    assert (result.population.patients, result.population.collections) == (2, 2)
    assert result.population.left_out == {
        "collections without a group": 1,
        "collections not followed from their first day on": 1,
    }


def test_few_patients_are_said_to_be_few_and_a_later_collection_is_named():
    result = collection_resolution(
        registry_of(*[_one(day) for day in range(20, 30)], Course(last_contact=90, late_collection=(30, [(60, 60)])))
    )
    notes = {note.code: note.text for note in result.notes}
    assert "Only 11 patients" in notes["FEW_CLUSTERS"]
    assert notes["LEFT_TRUNCATION"].startswith("1 collection was found after the index drainage")


def test_sites_are_groups_and_what_is_known_later_is_not():
    courses = [_one(20 + number, index={"site": "pelvic" if number % 2 else "lesser_sac"}) for number in range(20)]
    result = collection_resolution(registry_of(*courses), by="site")
    assert _at(result, 60, group="pelvic")["estimate"] == 1
    with pytest.raises(DesignError, match="immortal time"):
        collection_resolution(registry_of(_one(20)), by="instrument_class")
    with pytest.raises(ChoiceError, match='Did you mean "site"'):
        collection_resolution(registry_of(_one(20)), by="sitee")


@pytest.mark.parametrize(
    "courses", [[_one(20)], [Course(last_contact=30)] * 6, [Course(died_on=9)] * 6, [_one(20)] * 6]
)
def test_one_collection_nobody_resolved_and_all_at_once_give_an_answer(courses):
    result = collection_resolution(registry_of(*courses))
    assert len(result.frame) and chart(result).alt and words(result) and len(table(result).frame)


def test_what_is_shown_speaks_of_collections():
    result = collection_resolution(registry_of(*[_one(day) for day in range(20, 60)]))
    assert "of 40 collections" in words(result)


@pytest.mark.parametrize("patients", [2, 12])
def test_while_no_collection_has_resolved_the_limit_is_that_of_as_many_patients(patients):
    """Two collections each, as if both ended alike: Clopper–Pearson of 0 patients, 1 − 0.025^(1 / n)."""
    result = collection_resolution(registry_of(*[_twins(40) for _ in range(patients)]), days=(20, 90))
    before, after = _at(result, 20), _at(result, 90)
    most = 1 - 0.025 ** (1 / patients)
    assert (before["estimate"], after["estimate"]) == (0, 1)
    assert (before["low"], before["high"]) == pytest.approx((0, most))
    assert (after["low"], after["high"]) == pytest.approx((1 - most, 1))
