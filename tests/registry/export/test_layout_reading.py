import pytest

from builders.exports import WIDE
from necrostats.errors import RegistryError, SourceError
from necrostats.registry.export.layout_reading import parse_layout, read_layout


def problems(text):
    with pytest.raises(RegistryError) as caught:
        parse_layout(text)
    return caught.value.findings


def changed(old, new):
    assert old in WIDE
    return WIDE.replace(old, new)


def test_a_sound_layout_is_read_with_its_defaults_in_every_column():
    layout = parse_layout(WIDE)
    sessions = layout.sheets[0].rows[1]
    assert sessions.numbers == (1, 2)
    assert {column.day_first for column in sessions.columns} == {True}
    assert list(layout.sheets[0].headings())[:4] == ["Study no", "Age", "Index", "DEN1 date"]


@pytest.mark.parametrize(
    ("old", "new", "place", "value", "nearest"),
    [
        ('"day_first"', '"dayfirst"', "dates.order", "dayfirst", "day_first"),
        ('"age_years"', '"age_yeers"', 'sheet[1].rows[1].columns."Age".to', "age_yeers", "age_years"),
        ('table = "patients"', 'table = "patient"', "sheet[1].rows[1].table", "patient", "patients"),
        ("[dates]", "[dats]", "dats", "", "dates"),
        ('"patients.vital_status"', '"patients.vitalstatus"', 'fill."patients.vitalstatus"', "", "vital_status"),
        ('"necrosectomy"', '"necrosectomi"', "sheet[1].rows[2].constants.session_type", "necrosectomi", "necrosectomy"),
        ('unit = "ml"', 'unit = "furlong"', 'sheet[1].rows[2].columns."DEN{n} yield".unit', "furlong", ""),
        ("2026-09-30", '"2026-09-30"', "dates.data_lock", "2026-09-30", ""),
        ('numbers = "1-2"', 'numbers = "2-1"', "sheet[1].rows[2].numbers", "2-1", ""),
        ("format = 1", "format = 2", "format", "2", ""),
    ],
)
def test_a_mistake_is_answered_with_its_place_its_value_and_the_nearest_match(old, new, place, value, nearest):
    found = problems(changed(old, new))
    ours = found[found["column"] == place]
    assert list(ours["value"]) == [value]
    assert nearest in ours["problem"].iloc[0]
    assert ours["remedy"].iloc[0]


def test_all_mistakes_are_named_at_once():
    text = changed('"day_first"', '"x"').replace('"age_years"', '"y"').replace('unit = "ml"', 'unit = "z"')
    assert set(problems(text)["value"]) == {"x", "y", "z"}


def test_a_synonym_for_a_code_that_does_not_exist_names_the_codes():
    found = problems(WIDE + '[synonyms.sex]\n"boy" = "mail"\n')
    assert found["column"].iloc[0] == 'synonyms.sex."boy"'
    assert '"male"' in found["problem"].iloc[0]


def test_a_code_in_capitals_is_a_code_like_any_other():
    layout = parse_layout(
        WIDE.replace('"DEN{n} compl" = "event"', "") + '[synonyms.agree_grade]\n"3a" = "IIIa"\n'
        '[[sheet]]\nname = "C"\npatient = "P"\n[[sheet.rows]]\ntable = "adverse_events"\n'
        'columns = { "D" = "day", "W" = "event_type", "G" = "agree_grade" }\n'
    )
    assert layout.sheets[1].rows[0].columns[2].codes == {"3a": "IIIa"}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('numbers = "1-2"\n', "", "without numbers"),
        ('patient = "Study no"', "", "who the rows are about"),
        ('"Index" = "index_date"', '"Index" = "onset_day"', "which date is the index drainage"),
        ('table = "patients"', 'table = "reviews"', "not on the list"),
        ('"DEN{n} tools" = "instruments"', '"DEN{n} tools" = "texture"\n"DEN{n} t2" = "texture"', "two columns become"),
        ('patient = "Study no"', 'patient = "Study no"\nignore = ["age"]', "ignored and mapped"),
        ('name = "DEN"', "", "x" * 0),
    ],
)
def test_a_layout_that_cannot_work_as_a_whole_says_why(old, new, said):
    text = changed(old, new)
    if not said:
        assert parse_layout(text).sheets[0].names == ()
        return
    assert problems(text)["problem"].str.contains(said).any()


def test_a_file_that_breaks_off_is_named_with_its_line():
    found = problems("format = 1\n[a\n")
    assert found["row"].iloc[0] == 2


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"format = " + b"[" * 4000, b"", b"sheet = 3", b"format = 1"])
def test_what_is_no_layout_at_all_is_a_plain_error(content):
    with pytest.raises(RegistryError, match="cannot be used yet"):
        parse_layout(content)


def test_a_layout_that_does_not_exist_is_a_plain_error(tmp_path):
    with pytest.raises(SourceError, match=r"none\.toml cannot be opened"):
        read_layout(tmp_path / "none.toml")
