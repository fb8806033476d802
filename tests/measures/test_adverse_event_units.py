import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError
from necrostats.measures import adverse_event_rates
from necrostats.measures.adverse_event_units import INTERVALS, known_interval, known_units
from necrostats.stats.proportions import blaker, clopper_pearson, mid_p, wilson
from necrostats.stats.rates import clustered_rate, garwood

REGISTRY = registry_of(*[Course(events=[(2, "bleeding")])] * 3, *[Course()] * 17)


def _row(registry, unit, **options):
    return adverse_event_rates(registry, event_type="bleeding", units=(unit,), **options).table.iloc[0]


@pytest.mark.parametrize(
    ("interval", "method"),
    [("Clopper–Pearson", clopper_pearson), ("mid-P", mid_p), ("Blaker", blaker), ("Wilson", wilson)],
)
def test_the_interval_of_patients_is_the_one_asked_for(interval, method):
    expected, row = method(3, 20), _row(REGISTRY, "patients", interval=interval)
    assert (row["conf_low"], row["conf_high"]) == pytest.approx((expected.low, expected.high))
    assert interval in adverse_event_rates(REGISTRY, interval=interval).method.interval


def test_a_plain_hyphen_will_do_and_an_unknown_interval_is_answered_with_the_list():
    assert known_interval("Clopper-Pearson") == "Clopper–Pearson"
    assert set(INTERVALS) == {"Clopper–Pearson", "mid-P", "Blaker", "Wilson"}
    with pytest.raises(ChoiceError, match="Wilson"):
        known_interval("Wald")


def test_units_come_in_their_order_and_one_may_stand_alone():
    assert known_units(("sessions", "patients")) == ("patients", "sessions")
    assert known_units("sessions") == ("sessions",)
    with pytest.raises(ChoiceError, match="100 stent-days"):
        known_units(("weeks",))


def test_robust_limits_are_never_taken_inside_the_exact_ones():
    """One event in one of two patients of unlike follow-up: the dispersion is large and means nothing."""
    registry = registry_of(Course(events=[(0, "bleeding")], last_contact=1), Course(last_contact=200))
    row = _row(registry, "100 patient-days")
    exact, robust = garwood(1, row["n"], per=100), clustered_rate([1, 0], [2, 31], per=100)
    assert row["conf_low"] == pytest.approx(min(exact.low, robust.low))
    assert row["conf_high"] == pytest.approx(max(exact.high, robust.high))
