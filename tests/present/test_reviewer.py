from builders.series import first_patients, series, without
from necrostats.measures import case_series
from necrostats.present import reviewer_questions
from necrostats.present.reviewer import ANSWERED, OPEN


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
