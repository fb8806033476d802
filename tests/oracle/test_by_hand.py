"""Every tie and edge of the rules, with the answers that by_hand/README.md works out."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

import necrostats

HERE = Path(__file__).parent / "by_hand"
UNRESOLVED = "not resolved within 180 days"


def _answers(name):
    with (HERE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def courses():
    return necrostats.read_registry(HERE / "courses")


@pytest.fixture(scope="module")
def events():
    return necrostats.read_registry(HERE / "events")


def _ends(registry, **asked):
    rows = necrostats.survival_frame(registry, **asked)
    return {row.patient_id: (row.end, int(row.duration)) for row in rows.itertuples()}


@pytest.mark.parametrize("answer", _answers("courses"), ids=lambda answer: f"{answer['patient_id']} {answer['edge']}")
def test_each_course_ends_as_worked_by_hand(courses, answer):
    who = answer["patient_id"]
    assert _ends(courses)[who] == (answer["end"], int(answer["day"]))
    by_session = (answer["end_by_session"], int(answer["sessions"])) if answer["sessions"] else None
    assert _ends(courses, axis="sessions").get(who) == by_session


def _rows(result, cause, axis):
    rows = result.frame[result.frame["cause"] == cause]
    return {int(row[axis]): row for _, row in rows.iterrows()}


@pytest.mark.parametrize(
    ("cause", "counts", "incidence"),
    [
        ("resolved", (14, 1, 2), (14, 15.4, 21)),
        ("death", (2, 1, 0), (2, 3.4, 3.4)),
        ("surgery", (1, 1, 0), (1, 2.4, 2.4)),
        ("percutaneous drain", (2, 0, 0), (2, 2, 2)),
        (UNRESOLVED, (13, 1, 0), (13, 14.4, 14.4)),
    ],
)
def test_the_incidence_by_session_is_the_one_worked_by_hand(courses, cause, counts, incidence):
    rows = _rows(necrostats.sessions_to_resolution(courses), cause, "sessions")
    assert [int(rows[k]["at_risk"]) for k in range(3)] == [46, 10, 3]
    assert [int(rows[k]["censored"]) for k in range(3)] == [4, 3, 1]
    assert tuple(int(rows[k]["events"]) for k in range(3)) == counts
    assert [rows[k]["estimate"] for k in range(3)] == pytest.approx([each / 46 for each in incidence])


def test_the_last_session_with_exactly_ten_at_risk_is_the_last_that_is_quoted(courses):
    result = necrostats.sessions_to_resolution(courses)
    assert "Fewer than 10 patients were still at risk from session 2" in " ".join(note.text for note in result.notes)
    assert necrostats.words(result).startswith("Within 1 necrosectomy session")


def test_the_incidence_by_day_is_the_one_worked_by_hand(courses):
    row = _rows(necrostats.time_to_resolution(courses), "resolved", "days")[30]
    assert int(row["at_risk"]) == 43
    assert row["estimate"] == pytest.approx(1 / 49)


def test_the_ends_on_day_180_and_the_deaths_are_those_worked_by_hand(courses):
    result = necrostats.course_ends(courses)
    counts = {row.variable: (row.events, row.n) for row in result.frame.itertuples()}
    expected = {"resolved": 16, "death": 3, "surgery": 2, "percutaneous drain": 2, UNRESOLVED: 14}
    assert counts == {end: (count, 37) for end, count in expected.items()}
    assert list(result.population.left_out.values()) == [2, 6, 4]
    died = next(necrostats.deaths(courses).frame.itertuples())
    assert (died.events, died.n) == (4, 49)


def test_of_two_scans_of_one_day_the_larger_is_the_baseline_unless_the_collection_has_its_own(courses):
    ends = _ends(courses, definition="half of baseline, scan alone")
    assert (ends["H16"], ends["H17"]) == (("resolved", 40), ("last seen unresolved", 180))


@pytest.mark.parametrize("answer", _answers("events"), ids=lambda answer: f"{answer['patient_id']} {answer['edge']}")
def test_the_events_of_each_patient_are_those_worked_by_hand(answer, tmp_path):
    rows = _any(necrostats.adverse_event_rates(_only(answer["patient_id"], tmp_path)))
    watched, affected, number, days = (
        int(answer[name]) for name in ("sessions_watched", "sessions_with_event", "events", "patient_days")
    )
    assert rows["patients"] == (number > 0, watched > 0)
    assert rows["sessions"] == (affected, watched)
    assert rows["100 patient-days"] == (number, days)


def _any(result, variable="any adverse event"):
    rows = result.frame[result.frame["variable"] == variable]
    return {row.unit: (row.events, row.n) for row in rows.itertuples()}


def _only(who, folder):
    """The registry of one patient, with the tables of all others empty."""
    for path in (HERE / "events").glob("*.csv"):
        head, *lines = path.read_text(encoding="utf-8").splitlines()
        (folder / path.name).write_text("\n".join([head, *(line for line in lines if who in line)]), encoding="utf-8")
    return necrostats.read_registry(folder)


def test_the_events_of_all_are_those_worked_by_hand(events):
    units = ("patients", "sessions", "100 patient-days", "100 stent-days")
    result = necrostats.adverse_event_rates(events, units=units)
    assert _any(result) == {
        "patients": (12, 15),
        "sessions": (10, 19),
        "100 patient-days": (13, 481),
        "100 stent-days": (2, 11),
    }
    bleeding = _any(result, "bleeding")
    assert (bleeding["patients"], bleeding["sessions"]) == ((10, 15), (8, 19))
    assert bleeding["100 patient-days"] == (10, 481)
    assert {reason: count for reason, count in result.population.left_out.items() if count} == {
        "sessions with no record that adverse events were looked for": 2,
        "patients with no record that adverse events were looked for": 1,
        "events after the window": 2,
    }
