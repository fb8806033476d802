"""Every wrong argument of every public function is answered in one line that says what to do."""

from __future__ import annotations

import inspect

import pandas as pd
import pytest

import necrostats
from builders.courses import Course, registry_of
from necrostats import measures
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, RESOLUTION_CATALOGUE
from necrostats.errors import NecrostatsError
from necrostats.measures.arguments import answering

NEEDED = {"covariates": ["sex"], "instrument_class": "snare", "by_ever": "snare", "by": "infection", "severity": "asks"}
GROUPED = ("compare_adverse_events", "compare_resolution")
WRONG = {
    "definition": ("thirty millimetres", 30),
    "definitions": ("30 mm", ["thirty"]),
    "days": (90, (30.5,), (), "90", (-1,)),
    "by": ("infectoin", 5, ["sex"]),
    "strata": ("infectoin",),
    "window": ("a month", 30),
    "grading": ("agreee", 3),
    "rule": ("whole", 1),
    "event_type": ("bleedng", 7),
    "level": (95, "95", None),
    "at": (28.5, "28", -1),
    "landmark": (28.5, "28", -1),
    "tau": (28.5,),
    "lost_after_days": (28.5, -1),
    "up_to": (2.5, "3"),
    "day": (28.5,),
    "horizon": (28.5, "180"),
    "replicates": (28.5,),
    "covariates": ("sex", ["sexx"], 5),
    "instrument_class": ("snaer", 5),
    "by_ever": ("snaer", 5),
    "lock": ("nowhere", 5),
    "period": ("third quarter", 3),
    "seen_from": (5,),
    "severity": ("worst", 5),
    "registry": ("synthetic_registry/tidy", pd.DataFrame(), None),
    "series": ("synthetic_registry/tidy", None),
}


def functions():
    """Every public function, by name."""
    named = {name: getattr(necrostats, name) for name in necrostats.__all__}
    return {name: value for name, value in named.items() if not inspect.isclass(value)}


def cases():
    """A function, an argument of it and a wrong value, once each."""
    for name, function in functions().items():
        for parameter in inspect.signature(function).parameters:
            if parameter in WRONG and not (name == "write_report" and parameter == "period"):
                yield from ((name, parameter, wrong) for wrong in WRONG[parameter])


@pytest.fixture(scope="module")
def registry():
    return registry_of(*(Course(necrosectomies=[4], scans=[(30, 20.0)], last_contact=60) for _ in range(12)))


def _asked(name, registry):
    """What a right call of the function is given."""
    given = {"registry": registry, "series": None}
    parameters = inspect.signature(functions()[name]).parameters
    needed = {each: NEEDED[each] for each in parameters if each in NEEDED and (each != "by" or name in GROUPED)}
    return {each: value for each, value in given.items() if each in parameters} | needed


@pytest.mark.parametrize(("name", "parameter", "wrong"), [*cases()])
def test_a_wrong_argument_is_answered_in_one_line_with_the_remedy(name, parameter, wrong, registry):
    with pytest.raises(NecrostatsError) as raised:
        functions()[name](**_asked(name, registry) | {parameter: wrong})
    (line,) = raised.value._render_traceback_()
    assert line == str(raised.value)
    assert len(line.split(". ")) > 1 or ":" in line, "no remedy"
    assert "object has no attribute" not in line and "dtype" not in line


@pytest.mark.parametrize("name", functions())
def test_an_argument_that_is_misspelt_is_answered_with_the_one_that_was_meant(name, registry):
    if name in ("chart", "table", "words", "lead", "registry_from", "definitions_used", "methods", "cautions"):
        return _takes_anything(name)
    first = next(iter(inspect.signature(functions()[name]).parameters))
    with pytest.raises(NecrostatsError, match=f'cannot be asked for "{first}z". Did you mean "{first}"'):
        functions()[name](**{f"{first}z": registry})
    return None


def _takes_anything(name):
    kinds = {each.kind for each in inspect.signature(functions()[name]).parameters.values()}
    assert name == "cautions" or kinds & {inspect.Parameter.VAR_KEYWORD, inspect.Parameter.VAR_POSITIONAL}


@pytest.mark.parametrize("verb", ["chart", "table", "words", "lead", "methods", "definitions_used"])
@pytest.mark.parametrize("given", ["synthetic_registry/tidy", None, pd.DataFrame()])
def test_what_is_no_result_is_answered_with_how_to_get_one(verb, given):
    with pytest.raises(NecrostatsError, match=r"time_to_resolution\(registry\)"):
        getattr(necrostats, verb)(given)


@pytest.mark.parametrize("verb", ["chart", "table", "words", "lead", "methods", "definitions_used"])
def test_a_registry_in_place_of_a_result_is_answered_with_how_to_ask_it(verb, registry):
    with pytest.raises(NecrostatsError, match="is a registry, not a result"):
        getattr(necrostats, verb)(registry)


def test_a_folder_that_is_not_there_is_said_to_be_missing(tmp_path, registry):
    missing = tmp_path / "nowhere"
    text = necrostats.abstract(necrostats.case_series(registry))
    for ask in (
        lambda: necrostats.read_registry(missing),
        lambda: necrostats.read_registry(str(missing)),
        lambda: necrostats.write_report("registry_check", missing, folder=tmp_path),
        lambda: necrostats.check_draft(missing / "draft.docx", text),
        lambda: necrostats.save_as(text, missing / "abstract.docx"),
        lambda: necrostats.chart(necrostats.patient_courses(registry)).save(missing / "courses.png"),
    ):
        with pytest.raises(NecrostatsError) as raised:
            ask()
        assert "nowhere" in str(raised.value) and "\n" not in str(raised.value)
    assert not missing.exists()


@pytest.mark.parametrize("wrong", [None, 5, pd.DataFrame()])
def test_a_source_that_is_no_path_is_answered(wrong):
    with pytest.raises(NecrostatsError, match="folder"):
        necrostats.read_registry(wrong)


@pytest.mark.parametrize("name", measures.__all__)
def test_a_measure_shows_names_and_not_whole_objects_as_its_defaults(name):
    function = getattr(necrostats, name)
    if not inspect.isclass(function):
        assert "Definition(" not in str(inspect.signature(function)).replace("'ResolutionDefinition", "")
        assert len(str(inspect.signature(function))) < 1200


def test_a_definition_may_be_given_by_its_name_or_in_millimetres_and_days(registry):
    whole = necrostats.time_to_resolution(registry, definition=DOCUMENTED_RESOLUTION)
    named = necrostats.time_to_resolution(registry, definition=DOCUMENTED_RESOLUTION.name)
    written = necrostats.time_to_resolution(registry, definition="15 mm, 100 days", days=(30,))
    assert named.method == whole.method
    assert "at most 15 mm" in written.method.definition and "within 100 days" in written.method.definition


def test_several_definitions_may_be_given_by_name(registry):
    names = [each.name for each in RESOLUTION_CATALOGUE[:2]]
    assert necrostats.sensitivity(registry, definitions=names).frame["variable"].tolist() == names


def test_a_blank_text_is_the_same_as_nothing_asked(registry):
    assert necrostats.deaths(registry, by="").frame.equals(necrostats.deaths(registry).frame)


def test_a_whole_number_written_with_a_point_is_taken():
    @answering
    def asked(registry: Registry, *, days: Sequence[int] = (30,)):  # noqa: F821
        return days

    assert asked(registry_of(Course()), days=(30.0, 60)) == (30, 60)
