from __future__ import annotations

from builders.results import CASE_ROWS, COMPLETE_ROWS, NAN, comparison, summary
from necrostats.present.saying import findings


def test_means_are_said_one_unit_a_sentence_with_what_they_rest_on():
    ml, g = findings(summary())
    assert ml.startswith(
        "Yield, ml, geometric mean: cap suction 184 (95 % CI 150–226; 31 sessions in 12 patients, "
        "no yield at all in 2; missing in 1); snare 96.7"
    )
    assert "too few for a mean: net (4 sessions in 3 patients, no yield at all in 1)" in ml
    assert "forceps" not in ml
    assert g.startswith("Yield, g, geometric mean: cap suction 42.3")


def test_shares_medians_and_missing_are_said():
    said = findings(summary(CASE_ROWS))
    assert said[0] == "Sex: female 40 of 98 (41 %), male 58 of 98 (59 %); missing in 2."
    assert said[2] == "Age, years: median 56 (quartiles 44–67.5), n = 100."


def test_groups_are_described_for_the_first_variables_only():
    rows = [
        (f"v{v}", "yes", group, "share", 5, 10, 0, 10, 0.5, NAN, NAN) for v in range(5) for group in ("early", "late")
    ]
    said = findings(summary(rows))
    assert said[0] == "Early: v0: yes 5 of 10 (50 %)."
    assert said[-1] == "The table has 2 further variables."


def test_completeness_names_the_least_complete_columns():
    (text,) = findings(summary(COMPLETE_ROWS))
    assert text == (
        "1 of 3 columns are filled in every row. The least complete, rows filled of all rows: "
        "sessions: texture 30 of 40 (75 %), sessions: yield low 38 of 40 (95 %)."
    )


def test_too_few_or_no_values_have_no_summary():
    one = ("age, years", "", "all", "median", NAN, 3, 0, 3, 56.0, 50.0, 60.0)
    none = ("age, years", "", "all", "median", NAN, 0, 7, 0, NAN, NAN, NAN)
    assert findings(summary([one])) == ("Age, years: 3 values, too few for a median.",)
    assert findings(summary([none])) == ("Age, years: no values; missing in 7.",)
    assert findings(summary(())) == ("There are no values to describe.",)


def test_a_contrast_is_said_with_its_interval_and_p():
    said = findings(comparison())
    assert said[0] == "Ratio of geometric means, cap suction v snare: 1.42 (95 % CI 1.05–1.92; p = 0.023)."
    assert said[2] == "Risk difference, cap suction v snare: −3.2 percentage points (95 % CI −9.1 to 2.7)."
    assert findings(comparison(())) == ("There is nothing to compare.",)
