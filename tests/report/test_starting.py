from __future__ import annotations

import inspect
import re
import shlex
import shutil

import pytest

import necrostats
from builders.html import parsed, problems, table_of
from necrostats import bundled, cli, measures
from necrostats.definitions.resolution import RESOLUTION_CATALOGUE
from necrostats.errors import ReportError
from necrostats.registry.codebook import TABLES
from necrostats.report import templates
from necrostats.report.starting import (
    MEASURES,
    USERS,
    data_dictionary,
    described,
    guide_text,
    guides,
    measures_page,
    names,
    start,
)


def test_a_folder_gets_every_notebook_the_entry_workbook_and_the_data_dictionary(tmp_path):
    paths = start(tmp_path / "new")
    files = {path for path in (tmp_path / "new").rglob("*") if path.is_file()}
    assert files == set(paths)
    names = {str(path.relative_to(tmp_path / "new")) for path in files}
    notebooks = {f"{name}.ipynb" for name in templates.bundled_names()}
    pages = {f"guide/{name}.html" for name in (*USERS, "measures")}
    assert names == {
        "entry.xlsx",
        "data_dictionary.html",
        "example_layout.toml",
        "layout_guide.txt",
        *notebooks,
        *pages,
    }


def test_the_notebooks_read_the_entry_workbook_beside_them(tmp_path):
    start(tmp_path)
    for name in templates.bundled_names():
        copied, original = templates.read(tmp_path / f"{name}.ipynb"), templates.find(name)
        assert copied.parameters[0].default == "entry.xlsx"
        assert copied.parameters[1:] == original.parameters[1:]
        assert copied.notebook.cells[2:] == original.notebook.cells[2:]


def test_two_folders_hold_the_same_bytes(tmp_path):
    for one, other in zip(start(tmp_path / "a"), start(tmp_path / "b"), strict=True):
        assert one.read_bytes() == other.read_bytes()


def test_nothing_is_replaced_and_nothing_is_added_beside_it(tmp_path):
    mine = tmp_path / "entry.xlsx"
    mine.write_bytes(b"mine")
    with pytest.raises(ReportError, match=r"already holds entry\.xlsx"):
        start(tmp_path)
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [b"mine"]


@pytest.fixture(scope="module")
def dictionary():
    return data_dictionary()


def test_the_page_opens_offline_and_can_be_read_aloud(dictionary):
    assert problems(dictionary) == []


def test_every_table_and_column_of_the_codebook_is_there_in_order_with_its_codes(dictionary):
    tables = parsed(dictionary).all("table")
    assert len(tables) == len(TABLES)
    for shown, table in zip(tables, TABLES.values(), strict=True):
        rows = table_of(shown)[1:]
        assert [row[0].rstrip("*") for row in rows] == list(table.names)
        assert [row[0].endswith("*") for row in rows] == [column.required for column in table.columns]
        assert [row[3] for row in rows if row[1] == "code"] == [
            ", ".join(column.codes) for column in table.columns if column.kind == "code"
        ]
        assert [row[4] for row in rows] == [" ".join(column.meaning.split()) for column in table.columns]


NEEDED = {"covariates": ["infection"], "instrument_class": "snare", "by_ever": "snare", "replicates": 20}
GROUPED = ("compare_adverse_events", "compare_resolution")
WITHOUT_SOURCES = ("case_series", "sensitivity")
"""Of several results, or of definitions whose sources stand with each."""


@pytest.fixture(scope="module")
def registry():
    return necrostats.read_registry(bundled.synthetic_registry() / "tidy")


@pytest.fixture(scope="module")
def measures_shown():
    return measures_page()


def test_there_is_a_page_for_each_user_and_one_of_all_measures_and_each_can_be_read_aloud():
    pages = guides()
    assert set(pages) == {*USERS, MEASURES}
    for name, html in pages.items():
        assert problems(html) == [], name
        assert "not a medical device" in parsed(html).text


def test_every_public_measure_is_on_the_page_once(measures_shown):
    public = {name for name in necrostats.__all__ if name in measures.__all__}
    public = {name for name in public if not inspect.isclass(getattr(necrostats, name))}
    shown = [each.text for each in parsed(measures_shown).all("h3")]
    assert shown == sorted(public) == list(names())


@pytest.mark.parametrize("name", names())
def test_a_measure_says_its_question_who_is_counted_and_where_it_comes_from(name, measures_shown):
    measure = described(name)
    for text in (measure.question, measure.counted, measure.source):
        assert text.endswith((".", "…")) and len(text) > 15
        assert " ".join(text.replace("`", "").split()) in " ".join(
            parsed(measures_shown).text.replace("\xa0", " ").split()
        )


def result_of(name, registry):
    """What a measure gives of a registry, asked as little as it can be."""
    function = getattr(necrostats, name)
    asked = {each: NEEDED[each] for each in inspect.signature(function).parameters if each in NEEDED}
    asked |= {"by": "infection"} if name in GROUPED else {}
    if name == "reporting_checklist":
        return function(necrostats.case_series(registry))
    if name == "slow_changes":
        return function(necrostats.quarter_verdicts(registry))
    if name == "yield_answer":
        made = (necrostats.compare_yield, necrostats.attribution_sensitivity, necrostats.precision_plan)
        return function(*(each(registry) for each in made))
    return function(registry, **asked)


@pytest.mark.parametrize("name", [name for name in names() if name not in WITHOUT_SOURCES])
@pytest.mark.slow
def test_the_sources_of_the_docstring_are_those_of_the_result(name, registry):
    references, source = result_of(name, registry).method.references, described(name).source
    assert all(reference in source for reference in references)
    assert bool(references) != ("common practice" in source)


def test_a_measure_with_a_definition_says_which_one_is_meant():
    assert described("time_to_resolution").definition == "Resolved: documented resolution, 30 mm."
    assert described("worst_grades").definition == "Adverse events: during a session or up to 30 days after it."
    assert described("deaths").definition == ""


def test_every_definition_that_can_be_named_is_on_the_page(measures_shown):
    shown = [each.text for each in parsed(measures_shown).all("dt")]
    assert [each for each in shown if each in {one.name for one in RESOLUTION_CATALOGUE}] == [
        one.name for one in RESOLUTION_CATALOGUE
    ]


COMMANDS = [
    (user, line.strip())
    for user in USERS
    for line in guide_text(user).splitlines()
    if line.strip().startswith("necrostats ")
]


@pytest.mark.parametrize(("user", "line"), COMMANDS)
def test_every_command_of_a_guide_can_be_given(user, line):
    request = cli.parser().parse_args(shlex.split(line)[1:])
    if request.command == "report":
        template = templates.find(request.template)
        assert set(dict(request.param)) <= set(template.parameter_names)


@pytest.mark.parametrize("user", USERS)
@pytest.mark.slow
def test_the_python_of_a_guide_runs_on_the_invented_registry(user, tmp_path, monkeypatch, capsys):
    shutil.copytree(bundled.synthetic_registry() / "tidy", tmp_path / "tidy")
    monkeypatch.chdir(tmp_path)
    (script,) = re.findall(r"```python\n(.*?)```", guide_text(user), re.DOTALL)
    exec(compile(script, user, "exec"), {})
    assert "Traceback" not in capsys.readouterr().out


@pytest.mark.parametrize("user", USERS)
def test_every_file_that_a_guide_names_is_laid_out_or_made_by_its_commands(user):
    laid = {"entry.xlsx", "data_dictionary.html", "example_layout.toml"}
    laid |= {f"{name}.ipynb" for name in templates.bundled_names()}
    made = {"layout.toml", "unit_export.xlsx", "findings.xlsx", "case_series_abstract.docx"}
    named = set(re.findall(r"[\w]+\.(?:xlsx|ipynb|toml|html|docx)\b", guide_text(user)))
    assert named and named <= laid | made
