import numpy as np
import pytest

from builders.debridements import Session, registry_of
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures.credited_yields import debridements
from necrostats.measures.yield_adjustments import adjustment_names, banded, covariates, group_name


def _one(name, *sessions, **collection):
    registry = registry_of(*sessions, **collection)
    return covariates(registry, debridements(registry), [name])[0]


@pytest.mark.parametrize(
    "name", ("clearance", "passes", "minutes_debridement", "stopped_early", "yield_low", "event_type")
)
def test_what_is_recorded_after_the_session_is_refused_as_an_adjustment(name):
    with pytest.raises(DesignError, match=f'"{name}".*recorded during or after the session'):
        adjustment_names((name,))


def test_a_name_that_is_not_known_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match='Did you mean "texture"'):
        adjustment_names(("textur",))
    with pytest.raises(DesignError, match="does not group yields"):
        group_name("clearance")


def test_names_may_be_one_text_or_those_of_the_columns_and_are_taken_once():
    assert adjustment_names("texture") == ("texture",)
    assert adjustment_names(("volume_ml", "volume", "session_number")) == ("volume", "session number")


def test_the_session_number_counts_from_the_first():
    found = _one("session number", Session(patient="P1", day=3), Session(patient="P1", day=9))
    assert found.columns.ravel().tolist() == [0.0, 1.0]


def test_volume_enters_by_its_logarithm_and_the_solid_share_by_tens():
    assert _one("volume", Session(patient="P1", day=3)).columns[0, 0] == pytest.approx(np.log(500))
    assert _one("solid fraction", Session(patient="P1", day=3)).columns[0, 0] == 4.0


@pytest.mark.parametrize(("scanned", "late"), [(8, 0), (9, 0), (10, 1)])
def test_a_baseline_scan_after_the_session_tells_nothing_about_it(scanned, late):
    """On the day before, on the day itself, on the day after."""
    found = _one("volume", Session(patient="P1", day=9), baseline_scan_day=scanned)
    assert found.later == late and bool(np.isnan(found.columns[0, 0])) == bool(late)


def test_a_factor_has_an_indicator_for_all_levels_but_the_commonest_and_nan_where_unknown():
    textures = ("soft", "soft", "tough", None)
    found = _one("texture", *(Session(patient="P1", day=d, texture=each) for d, each in enumerate(textures)))
    assert found.columns[:3].tolist() == [[0.0], [0.0], [1.0]] and found.known.tolist() == [True, True, True, False]


def test_a_factor_with_one_level_has_one_column_that_says_nothing():
    found = _one("texture", Session(patient="P1", day=3), Session(patient="P1", day=5))
    assert found.columns.tolist() == [[0.0], [0.0]]


@pytest.mark.parametrize(
    ("volume", "label"), [(249.0, "below 250 ml"), (250.0, "250–499 ml"), (1000.0, "1,000 ml and more")]
)
def test_bands_of_volume_begin_at_their_lower_end(volume, label):
    registry = registry_of(Session(patient="P1", day=3), volume=volume)
    codes, labels = banded(registry, debridements(registry), "volume")
    assert labels[codes[0]] == label


@pytest.mark.parametrize(
    ("solid", "label"), [(30.0, "up to 30 %"), (31.0, "31–60 %"), (60.0, "31–60 %"), (61.0, "above 60 %")]
)
def test_bands_of_the_solid_share_end_at_30_and_60(solid, label):
    registry = registry_of(Session(patient="P1", day=3), solid=solid)
    codes, labels = banded(registry, debridements(registry), "solid fraction")
    assert labels[codes[0]] == label


def test_the_fifth_session_and_later_ones_are_one_band():
    registry = registry_of(*(Session(patient="P1", day=each) for each in range(1, 8)))
    codes, labels = banded(registry, debridements(registry), "session number")
    assert [labels[code] for code in codes] == ["1", "2", "3", "4", *["5 and later"] * 3]


def test_operators_are_numbered_and_never_named():
    registry = registry_of(Session(patient="P1", day=3, about={"operator": "operator Q"}))
    assert banded(registry, debridements(registry), "operator")[1] == ("operator 1",)
