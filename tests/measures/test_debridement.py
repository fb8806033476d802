import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError
from necrostats.measures import debridement_yield
from necrostats.registry.tables import registry_from


def _row(result, group):
    return result.frame[result.frame["group"] == group].iloc[0]


def _course(*amounts, tool="snare"):
    days = [10 * (number + 1) for number in range(len(amounts))]
    return Course(
        necrosectomies=days,
        tools={day: [tool] for day in days},
        yields={d: each if isinstance(each, tuple) else (each, each) for d, each in zip(days, amounts, strict=True)},
    )


def test_exact_yields_give_the_plain_geometric_mean():
    """(100 · 400 · 100 · 400 · 200)^(1/5) = 200."""
    row = _row(debridement_yield(registry_of(*map(_course, (100.0, 400.0, 100.0, 400.0, 200.0)))), "snare")
    assert row["estimate"] == pytest.approx(200.0)
    assert (row["n"], row["patients"]) == (5, 5)


def test_sessions_with_two_classes_are_left_out_and_the_share_is_said():
    both = Course(necrosectomies=[10], tools={10: ["snare", "net", "lavage"]}, yields={10: (50.0, 50.0)})
    result = debridement_yield(registry_of(both, _course(100.0), _course(120.0), _course(90.0)))
    assert _row(result, "snare")["n"] == 3
    assert _row(result, "net")["n"] == 0
    assert any("1 of 4 necrosectomies (25 %)" in note.text for note in result.notes)


def test_an_adjunct_does_not_make_a_second_class():
    course = Course(necrosectomies=[10], tools={10: ["net", "lavage", "peroxide"]}, yields={10: (50.0, 50.0)})
    assert _row(debridement_yield(registry_of(course)), "net")["n"] == 1


def test_a_session_with_no_yield_is_counted_beside_the_mean():
    result = debridement_yield(registry_of(_course(0.0, 100.0), *[_course(100.0)] * 4))
    row = _row(result, "snare")
    assert (row["n"], row["events"], row["estimate"]) == (6, 1, pytest.approx(100.0))
    assert "ZERO_YIELD" in {note.code for note in result.notes}


def test_a_range_is_not_read_as_its_middle():
    wide = debridement_yield(registry_of(_course(100.0), _course((10.0, 1000.0)), *map(_course, (110.0, 90.0, 100.0))))
    assert _row(wide, "snare")["estimate"] == pytest.approx(100.0, rel=0.1)
    assert "INTERVAL_CENSORED" in {note.code for note in wide.notes}


def test_more_than_an_amount_pulls_the_mean_up_but_names_no_number():
    exact = [_course(each) for each in (100.0, 120.0, 90.0, 80.0, 110.0)]
    plain = _row(debridement_yield(registry_of(*exact)), "snare")["estimate"]
    raised = _row(debridement_yield(registry_of(*exact, _course((300.0, None)))), "snare")["estimate"]
    assert raised > plain


def test_a_class_with_too_few_sessions_is_counted_but_not_estimated():
    result = debridement_yield(registry_of(_course(100.0), _course(90.0)))
    assert _row(result, "snare")["n"] == 2
    assert np.isnan(_row(result, "snare")["estimate"])
    assert any(note.code == "SMALL_N" and "snare" in note.text for note in result.notes)


def test_sessions_without_a_number_are_counted():
    words = Course(necrosectomies=[10], tools={10: ["snare"]})
    result = debridement_yield(registry_of(words))
    assert dict(result.population.left_out) == {"necrosectomies without a yield": 1}
    assert _row(result, "snare")["missing"] == 1
    assert any("snare 1 of 1" in note.text for note in result.notes if note.code == "MISSING")
    assert np.isnan(_row(result, "snare")["estimate"])


def test_only_classes_of_instrument_can_be_compared():
    with pytest.raises(ChoiceError):
        debridement_yield(registry_of(_course(100.0)), by="operator")


def test_four_sessions_without_yield_and_one_with_make_no_mean():
    row = _row(debridement_yield(registry_of(*map(_course, (0.0, 0.0, 0.0, 0.0, 150.0)))), "snare")
    assert (row["n"], row["events"]) == (5, 4)
    assert np.isnan(row["estimate"])


def test_a_class_of_which_every_yield_is_less_than_a_number_says_why_it_has_no_mean():
    result = debridement_yield(registry_of(*[_course((0.0, 50.0))] * 6))
    assert _row(result, "snare")["n"] == 6
    assert any(note.text.startswith("snare (yield, ml): ") for note in result.notes)


def test_a_yield_that_says_nothing_but_more_than_nothing_is_missing():
    result = debridement_yield(registry_of(*map(_course, (100.0, 90.0, 110.0, 100.0, 95.0)), _course((0.0, None))))
    assert _row(result, "snare")[["n", "missing"]].tolist() == [5, 1]
    assert "MISSING" in {note.code for note in result.notes}


def test_classes_with_few_patients_are_named_in_one_note_each_with_its_number():
    nets = [_course(each, tool="net") for each in (50.0, 60.0, 70.0, 65.0, 55.0, 58.0)]
    snares = map(_course, (100.0, 400.0, 100.0, 400.0, 200.0))
    notes = [note.text for note in debridement_yield(registry_of(*nets, *snares)).notes if note.code == "FEW_CLUSTERS"]
    assert len(notes) == 1 and notes[0].endswith("approximate: snare (yield, ml) 5, net (yield, ml) 6.")


def test_limits_of_a_share_cleared_stay_below_100_and_the_mean_is_that_of_the_logits():
    """logit⁻¹((3 · logit .90 + 3 · logit .99) / 6), by hand: odds √(9 · 99) = 29.85, share .967585."""
    shares = [_course(each) for each in (90.0, 99.0, 90.0, 99.0, 90.0, 99.0)]
    registry = registry_of(*shares)
    sessions = registry.sessions.assign(yield_unit="percent_cleared")
    row = _row(debridement_yield(registry_from({**registry.tables, "sessions": sessions})), "snare")
    assert row["measure"] == "mean"
    assert row["estimate"] == pytest.approx(96.7585, abs=0.00005)
    assert row["estimate"] < row["high"] < 100


@pytest.mark.parametrize(("amount", "counted"), ((1999.0, 6), (2000.0, 6), (2000.5, 5), (1_250_000.0, 5)))
def test_an_amount_above_2000_is_out_of_the_mean_until_a_person_confirms_it(amount, counted):
    registry = registry_of(*map(_course, (100.0, 90.0, 110.0, 100.0, 95.0, amount)))
    result = debridement_yield(registry)
    assert _row(result, "snare")["n"] == counted
    assert sum(result.population.left_out.values()) == 6 - counted
    confirmed = registry.confirming(registry.sessions["session_id"].iloc[-1].lower())
    assert _row(debridement_yield(confirmed), "snare")["n"] == 6


def test_a_session_that_does_not_exist_cannot_be_confirmed():
    with pytest.raises(ChoiceError, match="S99"):
        registry_of(_course(100.0)).confirming("S99")


def test_lavage_alone_is_not_a_missing_class():
    rinsed = Course(necrosectomies=[10], tools={10: ["lavage"]}, yields={10: (50.0, 50.0)})
    bare = Course(necrosectomies=[10], tools={10: []}, yields={10: (50.0, 50.0)})
    assert dict(debridement_yield(registry_of(rinsed, bare, _course(70.0))).population.left_out) == {
        "necrosectomies with lavage or another adjunct alone": 1,
        "necrosectomies without a recorded instrument class": 1,
    }


def test_a_yield_written_for_the_instrument_counts_where_the_session_has_none():
    registry = registry_of(*[Course(necrosectomies=[10], tools={10: ["net"]})] * 5)
    uses = registry.instrument_uses.assign(yield_low=40.0, yield_high=40.0, yield_unit="g")
    row = _row(debridement_yield(registry_from({**registry.tables, "instrument_uses": uses})), "net")
    assert (row["variable"], row["n"], row["estimate"]) == ("yield, g", 5, pytest.approx(40.0))
