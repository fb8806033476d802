"""The same thing entered twice."""

from __future__ import annotations

import pytest

from builders.registry_files import faultless, registry_of, rules


@pytest.mark.parametrize(
    ("table", "row", "other"),
    [
        ("sessions", 0, {"session_id": "S00"}),
        ("scans", 0, {"scan_id": "N09", "modality": "mri"}),
        ("reviews", 0, {"fever": "no"}),
        ("other_interventions", 0, {"reason": "fluid"}),
        ("instrument_uses", 0, {"is_primary": "no", "minutes": "1"}),
    ],
)
def test_a_row_like_another_is_asked_about_and_both_count(tmp_path, table, row, other):
    tables = faultless()
    tables[table].insert(row, {**tables[table][row], **other})
    registry = registry_of(tmp_path, tables)
    assert rules(registry) == ["SAME_AGAIN"] * 2
    assert len(registry.tables[table]) == len(tables[table])


def test_two_stents_and_two_events_on_one_day_are_nothing_strange(tmp_path):
    tables = faultless()
    tables["stents"].append({**tables["stents"][0], "stent_id": "T02"})
    tables["adverse_events"].append({**tables["adverse_events"][0], "event_id": "E02", "event_type": "perforation"})
    assert registry_of(tmp_path, tables).findings.empty
