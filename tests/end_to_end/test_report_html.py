from __future__ import annotations

import re
import subprocess
import sys

import pytest

import necrostats
from builders.html import parsed, problems, table_of
from necrostats import bundled

PERIOD = "2026Q3"
PAGES = ("review", *(pytest.param(name, marks=pytest.mark.slow) for name in ("check", "comparison")))


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
def comparison(tmp_path_factory):
    return report("instrument_comparison", tmp_path_factory.mktemp("comparison"))


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


def numbers_in(text):
    """The numbers of a cell as printed; a dash between two parts a range."""
    return re.findall(r"[0-9][0-9,]*(?:\.[0-9]+)?", text)


def agree(printed, values):
    """Every printed number is its value to within half a unit of the last printed digit."""
    values = list(values)
    assert len(printed) == len(values), (printed, values)
    for text, value in zip(printed, values, strict=True):
        half = 0.5 * 10.0 ** -len(text.partition(".")[2])
        assert abs(float(text.replace(",", "")) - float(value)) <= half * (1 + 1e-9), (text, value)


def table_titled(tables, title):
    (table,) = [rows for caption, rows in tables.items() if caption == title or caption.startswith(f"{title}.")]
    return table


def test_the_file_is_named_after_template_and_period(review):
    assert review.name == f"quarterly_review_{PERIOD}.html"


@pytest.mark.parametrize("page", PAGES)
def test_the_page_opens_offline_runs_nothing_and_can_be_read_aloud(page, request):
    text = request.getfixturevalue(page).read_text(encoding="utf-8")
    assert problems(text) == []
    root = parsed(text)
    assert root.all("html")[0].attributes["lang"] == "en-GB"
    assert all(len(table.all("caption")) == 1 for table in root.all("table"))
    assert all(len(figure.all("figcaption")) == 1 for figure in root.all("figure"))
    assert all(figure.all("details") for figure in root.all("figure"))


@pytest.mark.parametrize("page", PAGES)
def test_the_page_holds_no_path_of_this_machine_and_no_leftover_of_the_notebook(page, request):
    text = request.getfixturevalue(page).read_text(encoding="utf-8")
    for left in (str(bundled.synthetic_registry()), str(bundled.notebooks().parent), "/tmp/", "¶", "Out[", "Traceback"):
        assert left not in text


@pytest.mark.parametrize("page", PAGES)
def test_every_caution_is_on_the_page(page, request):
    text = parsed(request.getfixturevalue(page).read_text(encoding="utf-8")).all("main")[0].text
    for sentence in str(necrostats.cautions()).splitlines():
        assert sentence in text


def test_the_sections_come_in_the_order_of_a_review(review):
    root = parsed(review.read_text(encoding="utf-8"))
    assert root.all("h1")[0].text == f"Quarterly review, {PERIOD}"
    assert [each.text for each in root.all("h2")] == [
        "Did anything change?",
        "Since the last review",
        "All indicators",
        "Activity and case mix",
        "Adverse events",
        "Outcomes matured by now",
        "Instruments and yield",
        "Completeness",
        "Definitions, method and cautions",
    ]
    assert [each.text for each in root.all("nav")[0].all("a")] == [each.text for each in root.all("h2")]


@pytest.mark.slow
def test_the_same_registry_gives_the_same_bytes(review, tmp_path):
    assert report("quarterly_review", tmp_path, "--period", PERIOD).read_bytes() == review.read_bytes()


def test_every_rate_on_the_page_is_that_of_the_result(tables, registry):
    result = necrostats.adverse_event_rates(registry.during(PERIOD))
    rows = table_titled(tables, result.title)[1:]
    for column, unit in enumerate(("patients", "sessions", "100 patient-days"), start=1):
        expected = result.frame[(result.frame["unit"] == unit) & (result.frame["events"] > 0)]
        assert len(rows) == len(expected)
        for row, rate in zip(rows, expected.itertuples(), strict=True):
            factor = 100 if rate.per == 1 else 10
            shown = numbers_in(row[column])
            agree(shown[:2], (rate.events, rate.n))
            agree(shown[2:], (rate.estimate * factor, rate.low * factor, rate.high * factor))


@pytest.mark.parametrize("measure", ["time_to_resolution", "sessions_to_resolution"])
def test_every_incidence_and_number_at_risk_on_the_page_is_that_of_the_result(tables, registry, measure):
    result = getattr(necrostats, measure)(registry.matured(180))
    expected = result.at_landmarks()
    shown = {row[0]: row[1:] for row in table_titled(tables, result.title)[1:]}
    for point in result.landmarks:
        here = expected[expected[result.axis] == point]
        agree(numbers_in(shown[str(point)][0]), here["at_risk"].iloc[:1])
        for cell, row in zip(shown[str(point)][1:], here.itertuples(), strict=True):
            agree(numbers_in(cell), (100 * row.estimate, 100 * row.low, 100 * row.high))
    median = result.medians.iloc[0]
    agree(numbers_in(shown[f"Median, {result.axis}"][1]), (median["estimate"], median["low"], median["high"]))


@pytest.mark.slow
def test_every_adverse_event_of_the_period_is_a_row_of_the_list_of_cases(tmp_path, registry):
    source = bundled.synthetic_registry() / "tidy"
    necrostats.write_report("quarterly_review", source, folder=tmp_path, cases=True)
    assert {path.name for path in tmp_path.iterdir()} == {
        f"quarterly_review_{PERIOD}.html",
        f"case_list_{PERIOD}.html",
    }
    page = (tmp_path / f"case_list_{PERIOD}.html").read_text(encoding="utf-8")
    events, open_records = (table_of(each) for each in parsed(page).all("table"))
    result = necrostats.adverse_event_cases(registry.during(PERIOD))
    assert [row[4] for row in events[1:]] == [str(day) for day in result.frame["day"]]
    assert [row[1] for row in events[1:]] == [str(band) for band in result.frame["age_band"]]
    assert len(open_records) - 1 == len(necrostats.open_cases(registry, period=PERIOD).frame)


def test_no_id_of_a_patient_stands_on_the_review(review, registry):
    text = review.read_text(encoding="utf-8")
    assert [each for each in registry.patients["patient_id"] if f">{each}<" in text or f" {each} " in text] == []


def test_every_yield_on_the_page_is_that_of_the_result(tables, registry):
    result = necrostats.debridement_yield(registry)
    rows = table_titled(tables, result.title)[1:]
    estimated = result.frame[result.frame["variable"] == "yield, ml"]
    for row, expected in zip(rows, estimated.itertuples(), strict=True):
        agree(numbers_in(" ".join(row[-5:-2])), (expected.patients, expected.n, expected.events))
        if row[-1] not in ("too few", "no values"):
            agree(numbers_in(row[-1]), (expected.estimate, expected.low, expected.high))


@pytest.mark.slow
def test_what_was_read_on_the_page_adds_up(check, registry):
    (table,) = [
        each
        for each in parsed(check.read_text(encoding="utf-8")).all("table")
        if each.all("caption")[0].text == "What was read"
    ]
    rows = {row[0]: [int(cell) for cell in row[2:]] for row in table_of(table)[1:]}
    assert set(rows) == set(registry.tables)
    for name, (read, kept, aside) in rows.items():
        assert (read, kept) == (registry.source.rows_read[name], len(registry.tables[name]))
        assert read == kept + aside


@pytest.mark.slow
def test_the_answer_of_the_comparison_comes_first_and_is_that_of_the_results(comparison, registry):
    root = parsed(comparison.read_text(encoding="utf-8"))
    assert root.all("h2")[0].text == "The answer in one paragraph"
    results = (
        each(registry)
        for each in (necrostats.compare_yield, necrostats.attribution_sensitivity, necrostats.precision_plan)
    )
    answer = str(necrostats.lead(necrostats.yield_answer(*results), sentences=9))
    text = " ".join(root.all("main")[0].text.split())
    assert " ".join(answer.split()) in text
