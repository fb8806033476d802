import pytest

from builders.series import first_patients, series, without
from necrostats.errors import ChoiceError
from necrostats.measures import case_series
from necrostats.present import Table, chart, table
from necrostats.present.parts import PARTS, NotThere


def unscanned():
    return case_series(without("scans"))


def nobody():
    return case_series(first_patients(0))


@pytest.mark.parametrize("made", [series("infection"), series("", 4), series("", 7), unscanned(), nobody()], ids=repr)
def test_every_part_is_a_table_or_says_why_it_is_not_there(made):
    for part in PARTS:
        shown = table(made, part=part)
        assert isinstance(shown, Table) is (part in made.results)
        if isinstance(shown, NotThere):
            assert shown.reason.startswith("Not shown") and shown.reason.endswith(".")
            assert str(chart(made, part=part)) == shown.reason


def test_a_part_that_needs_what_is_not_recorded_names_it():
    assert "it needs scans" in str(table(unscanned(), part="time"))
    assert "no groups were asked for" in str(table(series(), part="time_by_group"))
    assert "too few patients for it (7)" in str(table(series("", 7), part="time"))


def test_one_table_and_one_figure_are_chosen_for_print():
    assert table(series("infection")).frame.columns[-1] == "Largest standardised difference"
    assert "one by one" in table(series("", 4)).caption
    assert chart(series()).caption.startswith("Time to documented resolution")
    assert chart(series("", 7)).caption.startswith("Where courses stood")
    assert isinstance(chart(series("", 4)), NotThere)


def test_a_part_off_the_list_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match='Did you mean "baseline"'):
        table(series(), part="base_line")
