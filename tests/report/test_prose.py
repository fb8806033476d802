from __future__ import annotations

import pandas as pd
import pytest

from builders.html import parsed
from necrostats.report.prose import cautions, definitions_used, lead, methods
from necrostats.results import Method, Population, Rates


@pytest.fixture
def rates():
    row = {
        "variable": "any adverse event",
        "group": "all",
        "unit": "patients",
        "events": 11,
        "n": 235,
        "per": 1,
        "estimate": 11 / 235,
        "low": 0.024,
        "high": 0.082,
    }
    method = Method(
        estimand="share <of> patients",
        estimator="events over patients",
        interval="Clopper–Pearson",
        level=0.95,
        definition="to 30 days",
        references=("Clopper and Pearson 1934",),
    )
    return Rates(title="Events", frame=pd.DataFrame([row]), population=Population(patients=235), method=method)


def test_the_lead_is_the_first_finding_with_its_count_and_denominator(rates):
    said = lead(rates)
    assert str(said).startswith("11 of 235 patients (4.7 %")
    assert parsed(said._repr_html_()).all("p")[0].attributes == {"class": "lead"}
    assert parsed(said.html).text == str(said)


def test_methods_name_the_estimator_and_the_source_and_stay_text(rates):
    said = methods(rates)
    for part in ("share <of> patients", "events over patients", "Clopper and Pearson 1934"):
        assert part in str(said)
    assert "share &lt;of&gt; patients" in said._repr_html_()


def test_definitions_stand_under_the_title_of_each_result(rates):
    root = parsed(definitions_used(rates)._repr_html_())
    assert [each.text for each in root.all("dt")] == ["Events", "Sources"]
    assert "to 30 days" in root.text.lower()
    assert str(definitions_used(rates)) == "Events: to 30 days"


@pytest.mark.parametrize(
    "needed",
    [
        "observational: instruments were chosen, not assigned",
        "not a medical device",
        "decisions about one patient",
        "recalling stents",
        "clinical judgement, local protocols and licensed practice come first",
        "definition, window and denominator",
        "no signal is not",
        "benchmarks are context",
        "audit or research",
        "ethics body",
        "certify nothing",
        "operators",
    ],
)
def test_no_caution_is_missing(needed):
    assert needed in str(cautions()).lower()
    assert needed in parsed(cautions()._repr_html_()).text.lower()


def test_no_line_break_parts_a_number_and_its_sign_in_a_notebook_either(rates):
    said = lead(rates)
    assert "4.7 % " not in said._repr_html_()
    assert "4.7\N{NO-BREAK SPACE}%" in said._repr_html_()
    assert "4.7 %" in str(said)
