from __future__ import annotations

from builders.results import NAN, no_rates, rates
from necrostats.present.saying import findings


def _one(*row) -> str:
    return " ".join(findings(rates([row])))


def test_patients_and_sessions_are_never_in_one_sentence():
    for sentence in findings(rates()):
        assert not ("patients" in sentence and "sessions" in sentence)


def test_events_after_sessions_are_said_to_have_followed_them():
    said = findings(rates())
    assert said[1] == "14 of 880 sessions (1.6 %, 95 % CI 0.9–2.7 %) were followed by at least one adverse event."
    assert said[0] == "11 of 235 patients (4.7 %, 95 % CI 2.4–8.2 %) had at least one adverse event."
    assert said[2] == "Any adverse event: 15 in 14,210 patient-days, 0.11 per 100 patient-days (95 % CI 0.06–0.17)."


def test_no_event_is_said_with_what_is_still_compatible():
    assert _one("perforation", "all", "sessions", 0, 30, 1, 0.0, 0.0, 0.1157) == (
        "No perforation followed any of 30 sessions; up to 11.6 % is compatible with these data "
        "(97.5 % one-sided limit)."
    )
    assert _one("any adverse event", "all", "patients", 0, 30, 1, 0.0, 0.0, 0.1157).startswith(
        "No adverse event was recorded in any of 30 patients; up to 11.6 %"
    )
    assert _one("bleeding", "all", "100 patient-days", 0, 4210, 100, 0.0, 0.0, 0.0876).startswith(
        "No bleeding was recorded in 4,210 patient-days; up to 0.088 per 100 patient-days"
    )


def test_something_that_is_no_event_is_not_said_to_have_followed():
    assert _one("technical success", "all", "patients", 28, 30, 1, 28 / 30, 0.779, 0.992) == (
        "Technical success: 28 of 30 patients (93 %, 95 % CI 78–99 %)."
    )
    assert _one("technical success", "all", "patients", 0, 30, 1, 0.0, 0.0, 0.1157).startswith(
        "Technical success: none of 30 patients; up to 11.6 %"
    )


def test_fewer_than_five_are_listed_without_a_rate():
    text = _one("bleeding", "all", "patients", 1, 3, 1, 1 / 3, 0.01, 0.91)
    assert text == "Bleeding: 1 of 3 patients; too few patients or sessions for a rate."


def test_nobody_at_risk_is_said():
    assert _one("bleeding", "all", "patients", 0, 0, 1, NAN, NAN, NAN) == "Bleeding, by patients: nobody at risk."
    assert findings(no_rates()) == ("Nobody is in this table, so there is no rate.",)


def test_the_types_are_listed_in_one_unit_with_their_denominators():
    last = findings(rates())[-1]
    assert "bleeding 7 of 235 (3.0 %, 1.2–6.0 %)" in last
    assert "none recorded: perforation 0 of 30 (up to 11.6 %)" in last


def test_a_group_is_named_before_its_sentence():
    rows = [("bleeding", group, "patients", 2, 40, 1, 0.05, 0.01, 0.17) for group in ("cap_suction", "snare")]
    said = findings(rates(rows))
    assert said[0] == "Cap suction: 2 of 40 patients (5 %, 95 % CI 1–17 %) had bleeding."
