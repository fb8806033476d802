"""The definitions and figures that a lock holds."""

from __future__ import annotations

import json

from builders.courses import Course, registry_of
from necrostats.definitions.indicators import INDICATORS
from necrostats.measures.locking import answerable, definitions_today, figures_of


def test_definitions_survive_the_manifest_unchanged():
    assert json.loads(json.dumps(definitions_today())) == definitions_today()


def test_every_indicator_is_there_with_what_chooses_its_events():
    said = definitions_today()["indicators"]
    assert list(said) == [each.name for each in INDICATORS]
    assert said["serious events"]["grade_from"] == "IIIa" and said["deaths within 90 days"]["matured_at"] == 90


def test_figures_worked_by_hand_and_nothing_of_what_is_not_recorded():
    registry = registry_of(
        Course(necrosectomies=[5], events=[(6, "bleeding")], period="2024Q1"), Course(period="2024Q3"), recorded=None
    )
    figures = figures_of(registry)
    assert figures["bleeding"] == {"2024Q1": (1, 2), "2024Q2": (0, 0), "2024Q3": (0, 1)}
    assert "carbon dioxide" not in figures and "carbon dioxide" not in [each.name for each in answerable(registry)]
