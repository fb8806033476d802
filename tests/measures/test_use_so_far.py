import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats import bundled
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.errors import ChoiceError
from necrostats.measures import resolution_after_use
from necrostats.measures.use_so_far import stretches
from necrostats.registry.loading import read_registry
from necrostats.stats.cox import cox


def _stretches(*courses):
    registry = registry_of(*courses)
    return stretches(registry, outcomes(registry, DOCUMENTED_RESOLUTION), "net")


def _course(tools, end=60, **more):
    days = list(tools)
    return Course(necrosectomies=days, tools={day: [tool] for day, tool in tools.items()}, scans=[(end, 5)],
                  well_on=[end], **more)  # fmt: skip


def test_a_course_is_cut_at_each_necrosectomy_and_use_begins_with_the_first():
    rows = _stretches(_course({10: "snare", 20: "net", 30: "snare"}))
    assert rows.entry.tolist() == [0, 10, 20, 30]
    assert rows.time.tolist() == [10, 20, 30, 60]
    assert rows.used.tolist() == [0, 0, 1, 1]
    assert rows.sessions.tolist() == [0, 1, 2, 3]
    assert rows.resolved.tolist() == [False, False, False, True]


def test_the_time_before_first_use_is_never_put_down_to_it():
    rows = _stretches(_course({10: "net"}), _course({10: "snare"}), Course(last_contact=30))
    before = (rows.time - rows.entry)[rows.used == 0].sum()
    assert before == 10 + 60 + 30
    assert (rows.time - rows.entry)[rows.used == 1].sum() == 50


def test_a_session_on_the_day_of_resolution_cuts_nothing():
    rows = _stretches(Course(necrosectomies=[40], tools={40: ["net"]}, scans=[(40, 5)], well_on=[40]))
    assert (rows.entry.tolist(), rows.time.tolist(), rows.resolved.tolist()) == ([0], [40], [True])


def test_a_patient_with_a_session_that_names_no_instrument_is_left_out_and_counted():
    rows = _stretches(Course(necrosectomies=[10], scans=[(60, 5)], well_on=[60]), _course({10: "net"}))
    assert rows.unrecorded == 1
    assert set(rows.patient) == {1}


def test_too_few_resolutions_give_no_ratio_and_a_note():
    result = resolution_after_use(registry_of(_course({10: "net"}), _course({10: "snare"})), instrument_class="net")
    assert np.isnan(result.table["estimate"]).all()
    assert result.notes


def test_nobody_gives_an_empty_answer():
    result = resolution_after_use(registry_of(Course()).select([False]), instrument_class="net")
    assert result.population.patients == 0
    assert np.isnan(result.table["estimate"]).all()


def test_an_unknown_class_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="snare"):
        resolution_after_use(registry_of(Course()), instrument_class="spoon")


def test_no_class_of_the_invented_registry_speeds_or_slows_resolution():
    """The truth is no effect of any class; nine looks, so each at level 1 − .05/9."""
    registry = read_registry(bundled.synthetic_registry() / "tidy")
    for name in ("snare", "net", "basket", "forceps", "cap_suction", "powered_debrider", "water_jet"):
        row = resolution_after_use(registry, instrument_class=name, level=1 - 0.05 / 9).table.iloc[0]
        assert row["conf_low"] < 1 < row["conf_high"], name


def test_the_error_is_that_of_the_model_and_few_patients_have_a_note():
    ends = {"net": range(40, 67, 3), "snare": range(41, 77, 4)}
    courses = [_course({10: tool}, end=end) for tool, days in ends.items() for end in days]
    few, many = (resolution_after_use(registry_of(*rows), instrument_class="net") for rows in (courses, courses * 2))
    assert any(note.code == "SMALL_N" and note.text.startswith("Only 18 patients") for note in few.notes)
    assert not any(note.code == "SMALL_N" for note in many.notes)
    known = cox([*ends["net"], *ends["snare"]], np.ones(18), np.repeat([1, 0], 9))
    row = few.table.iloc[0]
    assert np.log([row["conf_low"], row["conf_high"]]) == pytest.approx([known.low[0], known.high[0]])


def test_resolutions_all_on_one_side_are_tested_by_the_likelihood_ratio_and_named():
    """No Wald test where the ratio is infinite; the class is named, not "covariate 1"."""
    still = [
        Course(necrosectomies=[10], tools={10: ["snare"]}, scans=[(end, 60)], unwell_on=[end])
        for end in range(70, 80)
    ]
    result = resolution_after_use(
        registry_of(*[_course({10: "net"}, end=end) for end in range(40, 48)], *still), instrument_class="net"
    )
    row = result.table.iloc[0]
    known = cox([*range(40, 48), *[180] * 10], np.repeat([1, 0], [8, 10]), np.repeat([1, 0], [8, 10]))
    assert np.isinf(row["estimate"]) and row["test"] == "likelihood ratio test"
    assert (row["statistic"], row["p_value"]) == pytest.approx(
        (known.likelihood_ratio.statistic, known.likelihood_ratio.p_value)
    )
    [note] = [note for note in result.notes if note.code == "SEPARATION"]
    assert "one side of net:" in note.text
