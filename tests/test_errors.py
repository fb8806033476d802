from contextlib import redirect_stdout
from io import StringIO

from IPython.core.interactiveshell import InteractiveShell

from necrostats.errors import ChoiceError, NecrostatsError, unknown_choice


def test_a_choice_off_the_list_is_answered_with_the_list_and_the_nearest():
    error = unknown_choice("grouping", "sexx", ["sex", "site"])
    assert isinstance(error, ChoiceError)
    assert isinstance(error, NecrostatsError)
    assert str(error) == '"sexx" is not a known grouping. Did you mean "sex"? Choose from: sex, site.'


def test_nothing_near_is_not_guessed():
    assert "Did you mean" not in str(unknown_choice("grouping", "zzz", ["sex", "site"]))


def test_names_that_hold_commas_are_listed_in_quotation_marks():
    listed = str(unknown_choice("definition", "x", ["30 mm, scan alone", "20 mm"]))
    assert listed.endswith('Choose from: "30 mm, scan alone", "20 mm".')


def test_a_notebook_shows_the_sentence_and_no_traceback():
    shell = InteractiveShell()
    shell.run_cell("from necrostats.errors import ChoiceError")
    with redirect_stdout(StringIO()) as shown:
        shell.run_cell('raise ChoiceError("days is 90: write it as a list.")')
    assert shown.getvalue().strip() == "days is 90: write it as a list."
