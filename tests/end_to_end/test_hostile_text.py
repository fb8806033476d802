"""Text of a registry never becomes markup, formula, link or code, nor turns what stands beside it, in any output."""

from __future__ import annotations

import inspect

import pytest

import necrostats
from builders import hostile
from necrostats import cli, measures
from necrostats.report import templates

NEEDED = {"covariates": ["infection"], "instrument_class": "snare", "by_ever": "snare", "replicates": 20}
GROUPED = ("compare_adverse_events", "compare_resolution")
ALWAYS = ("time_to_resolution", "adverse_event_rates", "debridement_yield", "case_mix", "adverse_event_cases")
OF_RESULTS = ("reporting_checklist", "slow_changes", "yield_answer", "case_series")
MEASURES = [
    name for name in measures.__all__ if name not in OF_RESULTS and not isinstance(getattr(measures, name), type)
]


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile")
    return folder, hostile.hostile_registry(folder)


@pytest.fixture(scope="module")
def registry(source):
    folder, accepted = source
    return necrostats.read_registry(folder, accepted=accepted)


@pytest.fixture(scope="module")
def series(registry):
    return necrostats.case_series(registry, by="infection")


def result_of(name, registry):
    function = getattr(necrostats, name)
    asked = {each: NEEDED[each] for each in inspect.signature(function).parameters if each in NEEDED}
    return function(registry, **asked, **({"by": "infection"} if name in GROUPED else {}))


def test_hostile_ids_and_texts_are_kept_as_text_and_hostile_codes_are_set_aside(registry):
    assert len(registry.patients) > 50
    assert any("<SCRIPT>" in each for each in registry.patients["patient_id"].astype(str))
    assert (registry.findings["value"].astype(str).isin(hostile.VALUES)).any()


@pytest.mark.parametrize(
    "name", [name if name in ALWAYS else pytest.param(name, marks=pytest.mark.slow) for name in MEASURES]
)
def test_a_result_is_clean_as_page_table_figure_words_and_file(name, registry, tmp_path):
    result = result_of(name, registry)
    shown = necrostats.table(result)
    pages = [result._repr_html_(), shown._repr_html_(), necrostats.words(result)._repr_html_()]
    texts = [repr(result), str(necrostats.words(result)), shown.markdown, repr(shown)]
    try:
        figure = necrostats.chart(result)
    except necrostats.NecrostatsError:
        pass
    else:
        pages.append(figure._repr_html_())
        texts += [figure.alt, figure.caption, repr(figure)]
    for page in pages:
        assert [*hostile.in_html(page)] == []
    for text in texts:
        assert [*hostile.in_text(text)] == []
    for kind, check in (("xlsx", hostile.in_workbook), ("docx", hostile.in_word)):
        assert [*check(necrostats.save_as(result, tmp_path / f"x.{kind}").read_bytes())] == []
    written = necrostats.save_as(result, tmp_path / "x.csv").read_text(encoding="utf-8-sig")
    assert [*hostile.in_csv(written)] == []


@pytest.mark.slow
@pytest.mark.parametrize("name", templates.bundled_names())
def test_a_report_is_clean(name, source, tmp_path):
    folder, accepted = source
    path = necrostats.write_report(name, folder, folder=tmp_path / "out", accepted=accepted)
    page = path.read_text(encoding="utf-8")
    assert [*hostile.in_html(page)] == []
    shown = "&lt;script&gt;alert(1)&lt;/script&gt;" in page and "[U+202E]gnp.exe" in page
    assert shown == (name == "registry_check"), "the findings show what was written, and nothing else does"


@pytest.mark.slow
def test_the_documents_of_a_case_series_are_clean(series, tmp_path):
    text = necrostats.abstract(series)
    necrostats.save_documents(text, tmp_path)
    assert [*hostile.in_word((tmp_path / "case_series_abstract.docx").read_bytes())] == []
    assert [*hostile.in_workbook((tmp_path / "case_series_abstract.xlsx").read_bytes())] == []
    assert [*hostile.in_svg((tmp_path / "case_series_abstract_figure_1.svg").read_bytes())] == []
    for each in (
        text,
        necrostats.reviewer_questions(series),
        necrostats.check_draft(tmp_path / "case_series_abstract.docx", series),
    ):
        assert [*hostile.in_html(each._repr_html_())] == [] and [*hostile.in_text(str(each))] == []


def test_what_the_command_line_says_of_it_is_clean(source, tmp_path, capsys):
    folder, accepted = source
    given = [word for each in accepted for word in ("--accept", each)]
    assert cli.main(["check", str(folder), "--all", "--to", str(tmp_path), *given]) in (0, 1)
    said = capsys.readouterr()
    assert [*hostile.in_text(said.out + said.err)] == []
    assert [*hostile.in_workbook((tmp_path / "findings.xlsx").read_bytes())] == []


def test_a_refusal_by_the_privacy_check_is_clean(source, capsys):
    assert cli.main(["check", str(source[0])]) in (1, 2)
    said = capsys.readouterr()
    assert [*hostile.in_text(said.out + said.err)] == []


def test_errors_that_repeat_what_was_asked_are_clean(registry):
    for value in hostile.VALUES:
        with pytest.raises(necrostats.NecrostatsError) as raised:
            necrostats.deaths(registry, by=value)
        assert [*hostile.in_text("\n".join(raised.value._render_traceback_()))] == []
