from necrostats.errors import ChoiceError, NecrostatsError, unknown_choice


def test_a_choice_off_the_list_is_answered_with_the_list_and_the_nearest():
    error = unknown_choice("grouping", "sexx", ["sex", "site"])
    assert isinstance(error, ChoiceError)
    assert isinstance(error, NecrostatsError)
    assert str(error) == '"sexx" is not a known grouping. Did you mean "sex"? Choose from: sex, site.'


def test_nothing_near_is_not_guessed():
    assert "Did you mean" not in str(unknown_choice("grouping", "zzz", ["sex", "site"]))
