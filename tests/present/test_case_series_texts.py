import re
from dataclasses import replace

import pytest

from builders.courses import Course, registry_of
from builders.series import first_patients, invented, series, value_of, without
from necrostats.errors import ChoiceError
from necrostats.measures import case_series
from necrostats.present import abstract, reviewer_questions
from necrostats.present.bound import number_in
from necrostats.present.case_series_sentences import result_sentences
from necrostats.present.case_series_texts import ANSWERED, OPEN, method_sentences

MADE = [("", 0), ("infection", 0), ("extent_class", 0), ("", 4), ("", 7), ("sex", 12), ("", 30)]


@pytest.fixture(params=MADE, ids=str)
def made(request):
    return series(*request.param)


def test_every_number_equals_the_cell_it_came_from_at_the_decimals_it_is_printed_with(made):
    for sentence in (*method_sentences(made), *result_sentences(made).values()):
        for number in sentence.numbers:
            value = value_of(made, number)
            if value is None:
                continue
            shown = 100 * value if number.unit in ("%", "percentage points") else value
            decimals = len(number.printed.partition(".")[2])
            assert abs(number_in(number.printed) - shown) <= 0.5 * 10**-decimals + 1e-9, (number, value)


def test_every_digit_of_a_sentence_belongs_to_a_number_that_stands_where_it_says(made):
    for sentence in abstract(made).sentences:
        left = list(sentence.text)
        for number in sentence.numbers:
            assert sentence.text[number.start :].startswith(number.printed)
            left[number.start : number.start + len(number.printed)] = " " * len(number.printed)
        assert not re.search(r"\d", "".join(left)), sentence.text


def test_the_abstract_keeps_to_its_words_and_names_what_it_left_out():
    for limit in (320, 300, 265):
        text = abstract(series(), word_limit=limit)
        assert text.words <= limit - text.for_author
        assert ("Left out" in text.count) is bool(text.left_out)
    assert set(abstract(series(), word_limit=265).left_out) > set(abstract(series(), word_limit=300).left_out)
    assert not abstract(series(), word_limit=1000).left_out


def test_a_limit_that_nothing_fits_is_said_and_deaths_stay_beside_those_who_died_first():
    text = abstract(series(), word_limit=50)
    assert "too many" in text.count
    assert "died first" in str(text) and "died while followed" in str(text)


@pytest.mark.parametrize("limit", [-1, 2.5, True])
def test_a_limit_is_a_whole_number_of_words(limit):
    with pytest.raises(ChoiceError, match="word_limit"):
        abstract(series(), word_limit=limit)


def test_background_and_conclusion_are_left_to_the_author():
    sections = abstract(series()).sections
    assert list(sections) == ["Background", "Methods", "Results", "Conclusion"]
    assert all(sections[name].startswith("[For the author") for name in ("Background", "Conclusion"))


def test_fewer_than_five_patients_get_no_rate_at_all():
    text = str(abstract(series("", 4)))
    assert "no rate is given" in text and "%" not in text


def test_five_to_nine_patients_get_counts_with_exact_limits_and_no_curve():
    text = str(abstract(series("", 7)))
    assert "no curve, no model, no comparison" in text
    assert "Aalen" not in text and "median" not in text.replace("median age", "")
    assert "exact 95 % confidence intervals" in text


def test_ten_to_nineteen_patients_get_a_warning_and_no_point_with_fewer_than_ten_at_risk():
    text = str(abstract(series("", 12), word_limit=500))
    assert "The series is small" in text
    assert "By day 90" not in text and "whose course by day 180 is known" in text


def test_no_sentence_quotes_a_point_of_a_curve_with_fewer_than_ten_at_risk():
    for count in (15, 25, 35, 60):
        made = case_series(first_patients(count))
        curve = made.results["time"]
        at_risk = curve.frame.loc[curve.frame["days"] == 90, "at_risk"].iloc[0]
        assert ("By day 90" in str(abstract(made, word_limit=900))) is bool(at_risk >= 10)


@pytest.mark.parametrize(("late", "quoted"), [(9, False), (10, True)])
def test_a_point_is_quoted_with_ten_at_risk_and_not_with_nine(late, quoted):
    early = Course(scans=[(40, 20)], well_on=[41], last_contact=300)
    after = Course(scans=[(120, 20)], well_on=[121], last_contact=300)
    made = case_series(registry_of(*[early] * 5, *[after] * late))
    assert ("By day 90" in str(abstract(made))) is quoted


@pytest.mark.parametrize(("unchecked", "said"), [(2, False), (3, True)])
def test_sessions_that_nobody_looked_at_are_said_where_they_are_more_than_a_tenth(unchecked, said):
    """Of 20 drainages 2 are a tenth."""
    asked = Course(scans=[(40, 20)], well_on=[41], last_contact=300)
    courses = [replace(asked, unchecked=[0])] * unchecked + [asked] * (20 - unchecked)
    assert ("with no record that events were looked for" in str(abstract(case_series(registry_of(*courses))))) is said


def test_without_scans_the_sentence_says_what_is_missing_and_gives_no_figure():
    text = str(abstract(case_series(without("scans"))))
    assert "are not reported: they need scans after the index drainage" in text
    assert "documented resolution" not in text and "Aalen" not in text
    reviews = str(abstract(case_series(without("reviews"))))
    assert "they need clinical reviews" in reviews


def test_groups_stand_side_by_side_without_a_p_value():
    text = str(abstract(series("infection"), word_limit=900))
    assert "known: confirmed: " in text and "; none: " in text
    assert " p = " not in text and "p <" not in text


def test_an_empty_registry_has_an_abstract_that_says_so():
    text = abstract(case_series(first_patients(0)))
    assert "No patient is on record" in str(text)


def test_the_methods_in_full_give_each_definition_once():
    paragraphs = abstract(series()).methods_in_full
    definition = series().definition.sentence()
    assert sum(paragraph.count(definition) for paragraph in paragraphs[:5]) == 1
    assert paragraphs[-1].startswith("Sources: ")


def test_the_mark_below_it_names_data_and_definitions():
    text = abstract(case_series(invented()))
    assert text.stamp == f"Numbers from data {series().data_hash}, definitions {series().definition_hash}."
    assert text.stamp in text.text and text.stamp in text.markdown and text.stamp in text._repr_html_()


def test_each_question_is_answered_or_open_and_what_only_the_author_knows_is_open():
    asked = {each.question: each for each in reviewer_questions(series()).questions}
    assert {each.state for each in asked.values()} == {ANSWERED, OPEN}
    assert asked["Was there approval, and consent?"].state == OPEN
    assert "patients" in str(asked["Per patient or per session?"].answer)
    assert "sessions" in str(asked["Per patient or per session?"].answer)


def test_the_loss_is_counted_with_its_reasons():
    left_out = series().results["ends"].population.left_out
    said = str(reviewer_questions(series()))
    assert all(f"{count} {reason}" in said for reason, count in left_out.items())


def test_too_few_at_risk_or_no_scans_leave_questions_of_curves_open():
    for made in (case_series(first_patients(12)), case_series(without("scans"))):
        asked = {each.question: each.state for each in reviewer_questions(made).questions}
        assert asked["Would another definition give another figure?"] == OPEN


def test_nobody_on_record_gives_no_error_and_html_is_escaped():
    shown = reviewer_questions(case_series(first_patients(0)))
    assert OPEN in str(shown) and "<p><strong>" in shown._repr_html_()
