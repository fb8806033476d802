from __future__ import annotations

import re
import subprocess
import sys

import pytest

import necrostats
from builders.html import parsed, problems, table_of
from necrostats import bundled

PERIOD = "2026Q3"
NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]+)*")


def report(template, folder, *options):
    source = bundled.synthetic_registry() / "tidy"
    request = ["report", template, str(source), "--out", str(folder), *options]
    ran = subprocess.run([sys.executable, "-m", "necrostats.cli", *request], capture_output=True, text=True)
    assert (ran.returncode, ran.stdout) == (0, ""), ran.stderr
    (path,) = folder.iterdir()
    return path


@pytest.fixture(scope="session")
def review(tmp_path_factory):
    return report("quarterly_review", tmp_path_factory.mktemp("review"), "--period", PERIOD)


@pytest.fixture(scope="session")
def check(tmp_path_factory):
    return report("registry_check", tmp_path_factory.mktemp("check"))


@pytest.fixture(scope="session")
def registry():
    return necrostats.read_registry(bundled.synthetic_registry() / "tidy")


@pytest.fixture(scope="session")
def tables(review):
    """The tables of the page by the title that begins their caption."""
    found = {}
    for table in parsed(review.read_text(encoding="utf-8")).all("table"):
        found.setdefault(table.all("caption")[0].text, table_of(table))
    return found


def table_titled(tables, title):
    (table,) = [rows for caption, rows in tables.items() if caption.startswith(title)]
    return table


def test_the_file_is_named_after_template_and_period(review):
    assert review.name == f"quarterly_review_{PERIOD}.html"


@pytest.mark.parametrize("page", ["review", "check"])
def test_the_page_opens_offline_runs_nothing_and_can_be_read_aloud(page, request):
    text = request.getfixturevalue(page).read_text(encoding="utf-8")
    assert problems(text) == []
    root = parsed(text)
    assert root.all("html")[0].attributes["lang"] == "en-GB"
    assert all(len(table.all("caption")) == 1 for table in root.all("table"))
    assert all(len(figure.all("figcaption")) == 1 for figure in root.all("figure"))
    assert all(figure.all("details") for figure in root.all("figure"))


@pytest.mark.parametrize("page", ["review", "check"])
def test_the_page_holds_no_path_of_this_machine_and_no_leftover_of_the_notebook(page, request):
    text = request.getfixturevalue(page).read_text(encoding="utf-8")
    for left in (str(bundled.synthetic_registry()), str(bundled.notebooks().parent), "/tmp/", "¶", "Out[", "Traceback"):
        assert left not in text


@pytest.mark.parametrize("page", ["review", "check"])
def test_every_caution_is_on_the_page(page, request):
    text = parsed(request.getfixturevalue(page).read_text(encoding="utf-8")).all("main")[0].text
    for sentence in str(necrostats.cautions()).splitlines():
        assert sentence in text


def test_the_sections_come_in_the_order_of_a_review(review):
    root = parsed(review.read_text(encoding="utf-8"))
    assert root.all("h1")[0].text == f"Quarterly review, {PERIOD}"
    assert [each.text for each in root.all("h2")] == [
        "Activity and case mix", "Outcomes matured by now", "Adverse events", "Instruments and yield",
        "Completeness and findings", "Definitions, method and cautions",
    ]  # fmt: skip
    assert [each.text for each in root.all("nav")[0].all("a")] == [each.text for each in root.all("h2")]


def test_the_same_registry_gives_the_same_bytes(review, tmp_path):
    assert report("quarterly_review", tmp_path, "--period", PERIOD).read_bytes() == review.read_bytes()


def test_events_and_denominators_on_the_page_are_those_of_the_result(tables, registry):
    result = necrostats.adverse_event_rates(registry.during(PERIOD))
    rows = table_titled(tables, result.title)[1:]
    patients, sessions = (result.table[result.table["unit"] == unit] for unit in ("patients", "sessions"))
    assert len(rows) == len(patients)
    for row, by_patient, by_session in zip(rows, patients.itertuples(), sessions.itertuples(), strict=True):
        assert row[1] == f"{by_patient.events} / {by_patient.n}"
        assert row[3] == f"{by_session.events} / {by_session.n}"


def test_incidence_and_numbers_at_risk_on_the_page_are_those_of_the_result(tables, registry):
    result = necrostats.time_to_resolution(registry.matured(180))
    table = result.at_landmarks()
    resolved = table[table["cause"] == "resolved"].set_index("days")
    shown = {row[0]: row for row in table_titled(tables, result.title)[1:]}
    landmarks = [day for day in result.landmarks if str(day) in shown]
    assert len(landmarks) >= 4
    for day in landmarks:
        assert shown[str(day)][1] == str(resolved.loc[day, "at_risk"])
        assert NUMBER.match(shown[str(day)][2])[0] == f"{100 * resolved.loc[day, 'estimate']:.0f}"


def test_every_adverse_event_of_the_period_is_a_row_of_the_case_list_without_an_id(review, tables, registry):
    result = necrostats.adverse_event_cases(registry.during(PERIOD))
    rows = table_titled(tables, result.title)[1:]
    assert [row[4] for row in rows] == [str(day) for day in result.table["day"]]
    assert [row[1] for row in rows] == [str(band) for band in result.table["age_band"]]
    text = review.read_text(encoding="utf-8")
    assert [each for each in registry.patients["patient_id"] if f">{each}<" in text or f" {each} " in text] == []


def test_yield_by_instrument_on_the_page_is_that_of_the_result(tables, registry):
    result = necrostats.debridement_yield(registry)
    rows = table_titled(tables, result.title)[1:]
    shown = [row[-5:-3] for row in rows]
    assert shown == [[str(row.patients), str(row.n)] for row in result.table.itertuples()]


def test_what_was_read_on_the_page_adds_up(check, registry):
    (table,) = [each for each in parsed(check.read_text(encoding="utf-8")).all("table")
                if each.all("caption")[0].text == "What was read"]  # fmt: skip
    rows = {row[0]: [int(cell) for cell in row[2:]] for row in table_of(table)[1:]}
    assert set(rows) == set(registry.tables)
    for name, (read, kept, aside) in rows.items():
        assert (read, kept) == (registry.source.rows_read[name], len(registry.tables[name]))
        assert read == kept + aside
