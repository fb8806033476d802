"""A log in which a row is a session, an event or a drain, as a column says: each kind goes to its own table."""

from __future__ import annotations

import pytest

from builders.exports import INDEX, TOP, read, told, workbook
from necrostats.errors import RegistryError
from necrostats.registry.export.about import counts_of
from necrostats.registry.export.layout_drafting import draft_layout
from necrostats.registry.export.ledger import ledger_of

LOG = (
    TOP
    + """
[[sheet]]
name = "Patients"
patient = "P"
[[sheet.rows]]
table = "patients"
as_headed = ["Age", "Index"]
[[sheet]]
name = "Log"
patient = "P"
where = { "Kind" = ["drainage", "necro*"] }
[[sheet.rows]]
table = "sessions"
columns = { "Date" = "day", "Kind" = "session_type", "What" = "instruments" }
[[sheet]]
name = "Log"
patient = "P"
where = { "kind" = "complication" }
[[sheet.rows]]
table = "adverse_events"
columns = { "Date" = "day", "What" = "event_type" }
[[sheet]]
name = "Log"
patient = "P"
where = { "Kind" = "other" }
[[sheet.rows]]
table = "other_interventions"
columns = { "Date" = "day", "What" = "kind" }
"""
)
PATIENTS = [["P", "Age", "Index"], ["1", 50, INDEX]]
ROWS = [
    ["P", "Kind", "Date", "What"],
    ["1", "Necrosectomy", "10/03/24", "snare"],
    ["1", "complication", "11/03/24", "bleeding"],
    ["1", "other", "12/03/24", "ERCP"],
    ["1", "necrosectomy", "20/03/24", "net"],
]


def test_each_kind_of_row_goes_to_its_table(tmp_path):
    registry = read(tmp_path, {"Patients": PATIENTS, "Log": ROWS}, LOG).registry
    assert registry.sessions["day"].tolist() == [0, 9, 19]
    assert registry.instrument_uses["instrument_class"].tolist() == ["snare", "net"]
    assert registry.adverse_events["event_type"].tolist() == ["bleeding"]
    assert registry.other_interventions["kind"].tolist() == ["ercp"]


def test_a_row_of_no_kind_that_the_layout_names_is_said_and_not_read(tmp_path):
    strange = ["1", "phone call", "13/03/24", "asked"]
    found = read(tmp_path, {"Patients": PATIENTS, "Log": [*ROWS, strange]}, LOG)
    assert [value for *_, value in told(found, "KIND_NOT_MENTIONED")] == ["phone call"]
    assert counts_of(found.material).complete


def test_every_row_has_its_own_place_in_the_ledger(tmp_path):
    found = read(tmp_path, {"Patients": PATIENTS, "Log": ROWS}, LOG)
    ledger = ledger_of(found)
    bled = ledger[(ledger["table"] == "adverse_events") & (ledger["field"] == "event_type")]
    assert bled[["sheet", "cell", "value"]].to_numpy().tolist() == [["Log", "D3", "bleeding"]]
    assert counts_of(found.material).complete


def test_a_heading_that_is_not_there_is_a_mistake(tmp_path):
    with pytest.raises(RegistryError, match="is no heading"):
        read(tmp_path, {"Patients": PATIENTS, "Log": ROWS}, LOG.replace('"kind" = "compl', '"Sort" = "compl'))


def test_a_log_is_drafted_with_each_kind_of_row_in_its_own_table(tmp_path):
    patients = [["Study no", "Age", "Index drainage"], *([f"P{n}", 50 + n, INDEX] for n in range(1, 6))]
    lines = [["Study no", "What", "Date", "Remark"]]
    for n in range(1, 6):
        lines += [[f"P{n}", "necrosectomy", "10/03/24", ""], [f"P{n}", "CT", "20/03/24", ""]]
        lines += [[f"P{n}", "bleeding", "11/03/24", ""], [f"P{n}", "ERCP", "12/03/24", ""]]
    sheets = {"Patients": patients, "Log": lines}
    text = draft_layout(workbook(tmp_path / "unit.xlsx", sheets))
    for kind in ('["necrosectomy"]', '["ct"]', '["bleeding"]', '["ercp"]'):
        assert f'where = {{ "What" = {kind} }}' in text
    said = text.replace("# data_lock = 2026-09-30", "data_lock = 2026-09-30")
    registry = read(tmp_path, sheets, said.replace('# "patients.vital', '"patients.vital')).registry
    rows = {name: len(registry.tables[name]) for name in ("scans", "adverse_events", "other_interventions")}
    assert rows == {"scans": 5, "adverse_events": 5, "other_interventions": 5}
    assert (registry.sessions["session_type"] == "necrosectomy").sum() == 5


def test_a_sheet_of_one_kind_is_drafted_whole(tmp_path):
    lines = [
        ["Study no", "What", "Date"],
        *([f"P{n}", "bleeding" if n % 2 else "sepsis", "11/03/24"] for n in range(8)),
    ]
    patients = [["Study no", "Age", "Index drainage"], *([f"P{n}", 50 + n, INDEX] for n in range(8))]
    text = draft_layout(workbook(tmp_path / "unit.xlsx", {"Patients": patients, "Events": lines}))
    assert "where =" not in text and 'table = "adverse_events"' in text
