import pandas as pd
import pytest

from necrostats.results import Curves, Listing, Method, Note, Population, Rates

METHOD = Method(estimand="a", estimator="b", interval="c", level=0.95)


def _result(kind=Listing, frame=None, **more):
    frame = pd.DataFrame({"case": [1]}) if frame is None else frame
    return kind(title="A <title>", frame=frame, population=Population(patients=2), method=METHOD, **more)


def test_a_table_without_the_columns_of_its_kind_is_refused():
    with pytest.raises(ValueError, match="Rates needs the columns variable"):
        _result(Rates)


def test_a_note_has_a_code_from_the_list():
    with pytest.raises(ValueError, match="NOT_A_CODE"):
        Note(code="NOT_A_CODE", text="…")


def test_reasons_that_left_out_nobody_are_not_listed():
    assert dict(Population(patients=3, left_out={"no scan": 2, "no group": 0}).left_out) == {"no scan": 2}


def test_the_repr_is_one_line_a_person_can_read():
    assert repr(_result()) == "Listing: A <title> (2 patients, 1 rows)"


def test_the_html_is_a_table_with_scopes_and_nothing_unescaped():
    shown = _result(notes=(Note(code="SMALL_N", text="few & far"),))._repr_html_()
    assert '<th scope="col" class="number">case</th>' in shown
    assert "A &lt;title&gt;" in shown
    assert "few &amp; far" in shown


def test_curves_know_their_axis_and_their_landmarks():
    columns = {name: [0, 0] for name in Curves.columns}
    curves = _result(Curves, pd.DataFrame({**columns, "sessions": [0, 5]}), landmarks=(5,))
    assert curves.axis == "sessions"
    assert curves.at_landmarks()["sessions"].tolist() == [5]


def test_a_limit_without_end_is_shown_in_words():
    shown = _result(frame=pd.DataFrame({"high": [float("inf"), float("nan")]}))._repr_html_()
    assert ">no upper limit</td>" in shown and '<td class="number"></td>' in shown and "inf<" not in shown


def test_words_stand_to_the_left_and_numbers_to_the_right_with_few_digits():
    frame = pd.DataFrame({"cause": ["death"], "estimate": [0.123456], "n": [12], "resolved": [True]})
    shown = _result(frame=frame)._repr_html_()
    assert "<td>death</td>" in shown and "<td>True</td>" in shown
    assert '<td class="number">0.1235</td>' in shown and '<td class="number">12</td>' in shown


def test_a_mark_that_turns_the_writing_is_written_out_in_heads_cells_and_notes():
    frame = pd.DataFrame({"na\u202eme": ["a\u202eb"]})
    shown = _result(frame=frame, notes=(Note(code="SMALL_N", text="c\u202ed"),))._repr_html_()
    assert "\u202e" not in shown and shown.count("[U+202E]") == 3
