from dataclasses import replace

import numpy as np
import pytest

from builders.debridements import Session, registry_of, series
from necrostats.definitions.attribution import RULES
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import attribution_sensitivity, compare_yield

PAIR = {"reference": "snare", "primary": "powered_debrider"}
MEASURES = {
    "crude": "ratio of geometric means, crude",
    "adjusted": "ratio of geometric means, adjusted",
    "within": "ratio of geometric means, within patients",
}


def _ratio(result, kind="adjusted", group="powered_debrider"):
    frame = result.frame
    return frame[(frame["measure"] == MEASURES[kind]) & (frame["group"] == group)].iloc[0]


def _codes(result):
    return [note.code for note in result.notes]


@pytest.fixture(scope="module")
def usual():
    return compare_yield(registry_of(*series(40)), **PAIR)


@pytest.mark.parametrize("kind", ("adjusted", "within"))
def test_a_true_ratio_of_2_lies_inside_the_interval(usual, kind):
    row = _ratio(usual, kind)
    assert row["low"] < 2.0 < row["high"] and row["primary"]


def test_a_crude_ratio_of_exact_yields_is_the_ratio_of_plain_geometric_means():
    sessions = [
        Session(patient=f"P{i}", day=5, uses=[tool], low=amount)
        for i, (tool, amount) in enumerate(
            [("snare", 100.0), ("snare", 400.0), ("powered_debrider", 300.0), ("powered_debrider", 1200.0)] * 3
        )
    ]
    assert _ratio(compare_yield(registry_of(*sessions), adjust=(), **PAIR), "crude")["estimate"] == pytest.approx(3.0)


def test_a_class_used_late_looks_worse_crudely_and_alike_when_adjusted_for_the_session_number():
    """No effect at all, ×0.7 a session; the new class takes over from the third session on."""
    late = [
        replace(each, uses=["powered_debrider" if (each.day >= 30) == (place % 5 != 0) else "snare"])
        for place, each in enumerate(series(60, ratio=1.0, sessions=4))
    ]
    result = compare_yield(registry_of(*late), **PAIR)
    assert _ratio(result, "crude")["high"] < 1
    assert _ratio(result)["low"] < 1 < _ratio(result)["high"]


def test_sessions_and_patients_stand_with_every_contrast(usual):
    row = _ratio(usual)
    assert (row["sessions"], row["sessions_ref"], row["patients"], row["patients_ref"]) == (60, 60, 40, 40)
    assert row["adjusted_for"] == "session number, texture, solid fraction, volume"


def test_only_the_primary_adjusted_contrast_has_a_p_value(usual):
    tested = usual.frame[usual.frame["p_value"].notna()]
    assert [str(each) for each in tested["measure"]] == [MEASURES["adjusted"]]


def test_swapping_class_and_reference_inverts_the_ratio(usual):
    swapped = compare_yield(registry_of(*series(40)), reference="powered_debrider", primary="snare")
    assert _ratio(swapped, group="snare")["estimate"] == pytest.approx(1 / _ratio(usual)["estimate"], rel=1e-5)


def test_the_order_of_rows_and_the_names_of_patients_change_nothing(usual):
    sessions = [replace(each, patient=f"X{each.patient[::-1]}") for each in series(40)][::-1]
    again = compare_yield(registry_of(*sessions), **PAIR)
    assert _ratio(again)["estimate"] == pytest.approx(_ratio(usual)["estimate"], rel=1e-6)


def test_a_wider_level_gives_a_wider_interval(usual):
    wide = compare_yield(registry_of(*series(40)), level=0.99, **PAIR)
    assert _ratio(wide)["low"] < _ratio(usual)["low"] < _ratio(usual)["high"] < _ratio(wide)["high"]


def test_ranges_and_limits_enter_as_they_are_written():
    rounded = []
    for each in series(60, seed=8):
        low = 100 * np.floor(each.low / 100)
        ends = (500.0, None) if each.low > 500 else (0.0, 50.0) if each.low < 50 else (low, low + 100)
        rounded.append(replace(each, low=ends[0], high=ends[1], exact=False))
    result = compare_yield(registry_of(*rounded), **PAIR)
    row = _ratio(result)
    assert row["low"] < 2.0 < row["high"] and "INTERVAL_CENSORED" in _codes(result)


def test_sessions_with_no_yield_are_a_part_of_their_own():
    sessions = series(30)
    for place in range(0, 90, 10):
        sessions[place] = replace(sessions[place], low=0.0)
    result = compare_yield(registry_of(*sessions), **PAIR)
    apart = result.frame[result.frame["measure"] == "difference in the share of sessions with some yield"].iloc[0]
    share = [
        np.mean([each.low > 0 for each in sessions if tool in each.uses]) for tool in ("powered_debrider", "snare")
    ]
    assert apart["estimate"] == pytest.approx(share[0] - share[1])
    assert _ratio(result)["sessions"] + _ratio(result)["sessions_ref"] == 81
    assert "ZERO_YIELD" in _codes(result)


def test_the_share_cleared_has_odds_and_a_mean_that_never_passes_100():
    sessions = [replace(each, unit="percent_cleared", low=min(100.0, round(each.low / 3))) for each in series(30)]
    result = compare_yield(registry_of(*sessions), **PAIR)
    assert str(result.frame["measure"].iloc[1]) == "ratio of the odds of cleared necrosis, adjusted"
    assert (result.cells["high"] < 100).all() and (result.cells["low"] > 0).all()


def test_units_are_never_pooled():
    sessions = [replace(each, unit="g" if place % 4 == 0 else "ml") for place, each in enumerate(series(40))]
    registry = registry_of(*sessions)
    millilitres, grams = (compare_yield(registry, unit=unit, **PAIR) for unit in ("ml", "g"))
    assert (millilitres.population.sessions, grams.population.sessions) == (90, 30)
    assert any("never pooled" in note.text for note in millilitres.notes)


@pytest.mark.parametrize(("uses", "compared"), [(4, False), (5, True)])
def test_a_class_needs_five_sessions_to_enter_a_model(uses, compared):
    sessions = series(30)
    for place in range(uses):
        sessions[7 * place] = replace(sessions[7 * place], uses=["net"])
    result = compare_yield(registry_of(*sessions), **PAIR)
    assert ("net" in set(result.frame["group"])) == compared
    assert result.cells.set_index("instrument_class").loc["net", "sessions_counted"] == uses


@pytest.mark.parametrize(("patients", "compared"), [(2, False), (3, True)])
def test_a_class_needs_three_patients_to_enter_a_model(patients, compared):
    sessions = series(30)
    sessions += [
        Session(patient=f"N{place % patients}", day=10 + place, uses=["net"], low=90.0 + 9 * place)
        for place in range(6)
    ]
    result = compare_yield(registry_of(*sessions), **PAIR)
    assert ("net" in set(result.frame["group"])) == compared


@pytest.mark.parametrize(("both", "estimated"), [(2, False), (3, True)])
def test_a_comparison_within_patients_needs_three_patients_with_both(both, estimated):
    sessions = [
        replace(
            each,
            uses=each.uses
            if int(each.patient[1:]) < both
            else ["snare" if int(each.patient[1:]) % 2 else "powered_debrider"],
        )
        for each in series(30)
    ]
    result = compare_yield(registry_of(*sessions), **PAIR)
    assert np.isfinite(_ratio(result, "within")["estimate"]) == estimated


def test_classes_never_used_at_the_same_texture_have_no_adjusted_ratio_and_that_is_said():
    apart = [replace(each, texture="soft" if "snare" in each.uses else "tough") for each in series(30)]
    result = compare_yield(registry_of(*apart), **PAIR)
    assert np.isnan(_ratio(result)["estimate"]) and np.isfinite(_ratio(result, "crude")["estimate"])
    assert "Powered debrider and snare were never used at the same texture: no adjusted comparison of the two." in [
        note.text for note in result.notes
    ]


def test_missing_yields_are_counted_by_class_before_anything_is_left_out():
    sessions = series(20)
    sessions[0] = replace(sessions[0], low=None)
    sessions[1] = replace(sessions[1], low=None, words="small", uses=["powered_debrider", "net"])
    cells = compare_yield(registry_of(*sessions), **PAIR).cells.set_index("instrument_class")
    assert cells.loc["snare", ["necrosectomies", "yield_in_numbers", "no_yield_written"]].tolist() == [30, 29, 1]
    assert cells.loc["powered_debrider", ["necrosectomies", "in_words_only", "with_others"]].tolist() == [30, 1, 1]
    assert cells.loc["net", ["necrosectomies", "alone", "sessions_counted"]].tolist() == [1, 0, 0]


def test_groups_known_before_are_compared_each_by_itself():
    result = compare_yield(registry_of(*series(60)), by="texture", **PAIR)
    assert list(result.frame["variable"].cat.categories) == [
        f"yield, ml, texture {each}" for each in ("liquid", "soft", "adherent")
    ]
    assert set(result.frame.loc[result.frame["measure"] == MEASURES["adjusted"], "adjusted_for"]) == {
        "session number, solid fraction, volume"
    }


def test_one_patient_with_half_of_all_sessions_is_named():
    sessions = [
        replace(each, patient="P0", day=each.day + place) if place % 4 < 2 else each
        for place, each in enumerate(series(24))
    ]
    result = compare_yield(registry_of(*sessions), **PAIR)
    assert any(note.text.startswith("One patient gave ") for note in result.notes) and np.isfinite(
        _ratio(result)["low"]
    )


def test_without_named_classes_the_two_with_most_sessions_are_taken_and_that_is_said():
    sessions = series(20) + [Session(patient=f"Q{i}", day=5, uses=["snare"], low=150.0 + i) for i in range(6)]
    result = compare_yield(registry_of(*sessions))
    assert (result.reference, result.chosen) == ("snare", "powered_debrider")
    assert any(note.text.startswith("No pair of classes was named") for note in result.notes)


def test_lavage_and_peroxide_are_never_compared():
    with pytest.raises(ChoiceError, match="peroxide is an adjunct"):
        compare_yield(registry_of(*series(5)), reference="peroxide")
    with pytest.raises(ChoiceError, match='Did you mean "snare"'):
        compare_yield(registry_of(*series(5)), reference="snares")
    with pytest.raises(DesignError):
        compare_yield(registry_of(*series(5)), adjust=("clearance",))


def test_a_named_reference_with_too_few_sessions_gives_no_ratio_and_says_so():
    result = compare_yield(registry_of(*series(20)), reference="net", primary="snare")
    assert result.frame.empty and any(note.text.startswith("The reference, net, has too few") for note in result.notes)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_where_no_session_is_shared_every_rule_gives_the_same_ratio(usual, rule):
    result = compare_yield(registry_of(*series(40)), rule=rule.name, **PAIR)
    assert _ratio(result)["estimate"] == pytest.approx(_ratio(usual)["estimate"], rel=1e-6)


def test_the_e_value_is_1_where_the_interval_holds_no_difference_and_more_elsewhere(usual):
    assert _ratio(usual)["e_value_limit"] > 1
    alike = compare_yield(registry_of(*series(40, ratio=1.0)), **PAIR)
    assert _ratio(alike)["e_value_limit"] == 1.0


def test_in_groups_only_the_two_classes_of_the_primary_contrast_are_in_the_models():
    sessions = series(40)
    for place in range(0, 120, 9):
        sessions[place] = replace(sessions[place], uses=["net"])
    result = compare_yield(registry_of(*sessions), by="texture", **PAIR)
    adjusted = result.frame[result.frame["measure"] == MEASURES["adjusted"]]
    assert set(result.frame["group"]) == {"powered_debrider"} and len(adjusted) == 3
    assert adjusted["estimate"].notna().all()


@pytest.mark.parametrize(("patients", "kept"), [(5, "session number"), (9, "session number, texture")])
def test_too_few_yields_for_every_adjustment_keep_the_first_ones_and_say_so(patients, kept):
    """Five patients: 15 yields are enough for three terms; nine patients: 27 for five, two of them textures."""
    result = compare_yield(registry_of(*series(patients), volume=None, solid=None), **PAIR)
    assert _ratio(result)["adjusted_for"] == kept and np.isfinite(_ratio(result)["low"])
    told = any(note.text.endswith("is adjusted only for session number.") for note in result.notes)
    assert told == (kept == "session number")


def test_too_few_yields_for_all_classes_leave_the_two_of_the_primary_contrast():
    others = ("net", "basket", "forceps", "cap_suction")
    more = [
        Session(patient=f"N{at}{i % 5}", day=9, uses=[tool], low=80.0 + 7 * i)
        for at, tool in enumerate(others)
        for i in range(5)
    ]
    result = compare_yield(registry_of(*series(6), *more), **PAIR)
    assert np.isfinite(_ratio(result)["estimate"]) and np.isnan(_ratio(result, group="net")["estimate"])
    assert any("holds powered debrider and snare alone" in note.text for note in result.notes)


def test_no_direction_is_sure_where_every_interval_holds_no_difference():
    verdict = attribution_sensitivity(registry_of(*series(10, ratio=1.05)), **PAIR).verdict
    assert verdict.endswith("but under none of them does the interval exclude no difference.")
