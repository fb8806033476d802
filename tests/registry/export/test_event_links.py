"""Events, uses and references tied to what they belong to: by the day, and by what the export calls it."""

from __future__ import annotations

from datetime import date

import pytest

from builders.exports import INDEX, TOP, read, told
from necrostats.errors import RegistryError
from necrostats.registry.export.layout_reading import parse_layout

LAYOUT = (
    TOP
    + """
[[sheet]]
name = "People"
patient = "No"
rows = [{ table = "patients", columns = { "Age" = "age_years" } }]
[[sheet]]
name = "Collections"
patient = "No"
rows = [{ table = "collections", columns = { "Id" = "collection", "Index" = "is_index", "Site" = "site" } }]
[[sheet]]
name = "Sessions"
patient = "No"
[[sheet.rows]]
table = "sessions"
index = "first_drainage"
columns = { "Date" = "day", "Kind" = "session_type", "Collection" = "collection" }
[[sheet]]
name = "Stents"
patient = "No"
rows = [{ table = "stents", columns = { "Id" = "stent_id", "Kind" = "stent_type", "In" = "placed_day" } }]
[[sheet]]
name = "Events"
patient = "No"
[[sheet.rows]]
table = "adverse_events"
by_day = true
columns = { "Date" = "day", "Event" = "event_type", "Stent" = "stent_id" }
"""
)


def day(number):
    return date.fromordinal(INDEX.toordinal() + number)


def export(tmp_path, *, collections=(), sessions=(), stents=(), events=(), layout=LAYOUT):
    """Patients 1 and 2, each drained on day 0 in collection K1 and K9; further rows (number, …)."""
    sheets = {
        "People": [["No", "Age"], ["1", 50], ["2", 61]],
        "Collections": [["No", "Id", "Index", "Site"], ["1", "K1", "yes", "lesser sac"], ["2", "K9", "yes", ""]],
        "Sessions": [["No", "Date", "Kind", "Collection"], ["1", INDEX, "drainage", ""], ["2", INDEX, "drainage", ""]],
        "Stents": [["No", "Id", "Kind", "In"], ["1", "ST-1", "LAMS", INDEX]],
        "Events": [["No", "Date", "Event", "Stent"]],
    }
    for name, rows in {"Collections": collections, "Sessions": sessions, "Stents": stents, "Events": events}.items():
        sheets[name] += map(list, rows)
    return read(tmp_path, sheets, layout)


def sessions_of_events(found):
    return found.registry.position("adverse_events", "sessions").tolist()


def test_an_event_that_names_no_session_is_of_the_one_session_of_its_day(tmp_path):
    events = [("1", day(5), "bled"), ("1", day(6), "bled")]
    found = export(tmp_path, sessions=[("1", day(5), "necrosectomy", "")], events=events)
    day_5 = found.registry.sessions["day"].tolist().index(5)
    assert sessions_of_events(found) == [day_5, -1]
    assert told(found, "WHICH_SESSION") == [] == told(found, "NO_SESSION_NAMED")


def test_of_two_sessions_on_its_day_none_is_chosen_and_that_is_asked(tmp_path):
    two = [("1", day(5), "necrosectomy", ""), ("1", day(5), "inspection", "")]
    found = export(tmp_path, sessions=two, events=[("1", day(5), "bled")])
    assert sessions_of_events(found) == [-1]
    assert [row for _, row, *_ in told(found, "WHICH_SESSION")] == [2]


def test_a_session_of_another_patient_on_that_day_is_no_session_of_the_event(tmp_path):
    found = export(tmp_path, sessions=[("2", day(5), "necrosectomy", "")], events=[("1", day(5), "bled")])
    assert sessions_of_events(found) == [-1]


def test_without_the_option_it_is_said_once_how_many_events_could_be_linked(tmp_path):
    events = [("1", INDEX, "bled"), ("2", INDEX, "bled"), ("2", day(3), "bled")]
    found = export(tmp_path, events=events, layout=LAYOUT.replace("by_day = true", ""))
    assert sessions_of_events(found) == [-1, -1, -1]
    findings = found.registry.findings
    findings = findings[findings["rule"] == "NO_SESSION_NAMED"]
    assert findings["problem"].tolist() == [
        "is one of 2 events on the day of a session that name none, and so are linked to none"
    ]
    assert "by_day = true" in findings["remedy"].iloc[0]


def test_only_events_are_linked_by_their_day():
    with pytest.raises(RegistryError, match="stands with a table other than adverse_events"):
        parse_layout(LAYOUT.replace('table = "adverse_events"', 'table = "reviews"'))


SECOND = ("1", "K2", "no", "lesser sac")


@pytest.mark.parametrize(("named", "row"), [("k2", 1), ("K1", 0), ("", 0)])
def test_a_session_is_of_the_collection_that_it_names_by_its_id(tmp_path, named, row):
    found = export(tmp_path, collections=[SECOND], sessions=[("1", day(5), "necrosectomy", named)])
    at = found.registry.sessions["day"].tolist().index(5)
    assert found.registry.position("sessions", "collections")[at] == row


def test_a_session_may_treat_several_collections_by_their_ids(tmp_path):
    found = export(tmp_path, collections=[SECOND], sessions=[("1", day(5), "necrosectomy", "K2; K1")])
    assert found.registry.sessions.set_index("day")["also_treated"].to_dict()[5] == "C0001"


@pytest.mark.parametrize(
    ("named", "problem"),
    [
        ("K9", "is a collection of another patient"),
        ("K77", "is none of the patient's collections, or more than one"),
    ],
)
def test_a_session_of_a_collection_of_another_patient_or_of_none_is_set_aside(tmp_path, named, problem):
    found = export(tmp_path, sessions=[("1", day(5), "necrosectomy", named)])
    listed = found.registry.findings
    assert listed.loc[listed["rule"] == "NO_SUCH_COLLECTION", "problem"].tolist() == [problem]
    assert len(found.registry.sessions) == 2


WITHOUT_IDS = LAYOUT.replace('"Id" = "collection", ', "").replace(
    'name = "Collections"\npatient = "No"', 'name = "Collections"\npatient = "No"\nignore = ["Id"]'
)


def test_where_no_collection_has_an_id_the_only_one_is_taken_and_asked_about(tmp_path):
    found = export(tmp_path, sessions=[("1", day(5), "necrosectomy", "OZT-01/1")], layout=WITHOUT_IDS)
    assert found.registry.position("sessions", "collections").tolist() == [0, 0, 1]
    assert told(found, "COLLECTION_NOT_KNOWN") == [("Sessions", 4, "Collection", "OZT-01/1")]


def test_of_two_collections_none_is_taken_for_a_name_that_is_not_known(tmp_path):
    found = export(
        tmp_path, collections=[SECOND], sessions=[("1", day(5), "necrosectomy", "Big one")], layout=WITHOUT_IDS
    )
    assert len(found.registry.sessions) == 2
    assert [row for _, row, *_ in told(found, "NO_SUCH_COLLECTION")] == [4]


def test_a_known_site_that_is_not_that_of_the_only_collection_is_not_taken_for_it(tmp_path):
    found = export(tmp_path, sessions=[("1", day(5), "necrosectomy", "pelvic")], layout=WITHOUT_IDS)
    assert [row for _, row, *_ in told(found, "NO_SUCH_COLLECTION")] == [4]


def test_an_id_twice_with_other_contents_counts_for_no_row(tmp_path):
    found = export(tmp_path, collections=[("2", "k9", "no", "pelvic")])
    assert [(sheet, row) for sheet, row, *_ in told(found, "DUPLICATE_ID")] == [("Collections", 3), ("Collections", 4)]


def test_an_event_is_put_down_to_the_stent_that_it_names(tmp_path):
    found = export(tmp_path, events=[("1", day(4), "migrated", "st-1"), ("2", day(4), "migrated", "ST-1")])
    assert found.registry.position("adverse_events", "stents").tolist() == [0, -1]
    assert told(found, "NO_SUCH_STENT") == [("Events", 3, "Stent", "ST-1")]
