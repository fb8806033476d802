from __future__ import annotations

import math

import pytest

from builders.results import CASE_ROWS, COMPLETE_ROWS, NAN, comparison, summary
from necrostats.present import chart
from necrostats.present.wording import findings

TWO_GROUPS = [
    ("sex", level, group, "share", k, n, 0, n, k / n, NAN, NAN)
    for level in ("female", "male")
    for group, k, n in (("early", 20, 40), ("late", 9, 41))
]


def _texts(figure) -> list[str]:
    return [text.get_text().replace("\N{NO-BREAK SPACE}", " ") for text in figure.fig.texts]


def test_units_of_yield_are_never_on_one_scale():
    axes = chart(summary()).fig.axes
    assert [each.get_xlabel() for each in axes] == ["ml, log scale", "g, log scale"]
    assert {each.get_xscale() for each in axes} == {"log"}


def test_a_mean_names_its_patients_and_sessions_and_those_without_yield():
    texts = _texts(chart(summary()))
    assert "cap suction (12 patients, 31 sessions)" in texts
    assert "184 (150–226)" in texts
    assert "no yield" in texts


def test_too_few_sessions_have_a_row_but_no_mean():
    figure = chart(summary())
    assert "net (3 patients, 4 sessions)" in _texts(figure)
    assert math.isnan(figure.data.set_index(["variable", "group"])["estimate"]["yield, ml", "net"])


def test_completeness_is_sorted_with_the_least_complete_first():
    figure = chart(summary(COMPLETE_ROWS, title="Completeness"))
    names = [text for text in _texts(figure) if ": " in text]
    assert names == ["sessions: texture", "sessions: yield low"]
    assert "2 columns without a gap, or without a row, not drawn" in figure.caption
    at, under = (chart(summary(COMPLETE_ROWS), below=share) for share in (0.95, 0.96))
    assert "sessions: yield low" not in _texts(at) and "sessions: yield low" in _texts(under)
    assert "3 columns filled in at least 95 % of rows, or without a row, not drawn" in at.caption
    assert figure.fig.axes[0].get_xlim() == (0, 1)
    assert {"30 / 40", "Rows with a value"} <= set(_texts(figure))
    assert figure.caption.startswith("Completeness")


def test_shares_stand_under_their_variable_and_medians_in_panels_of_their_own():
    figure = chart(summary(CASE_ROWS, title="Case mix"))
    assert len(figure.fig.axes) == 3
    assert {"Sex", "female", "40 / 98", "41 %", "56 (44–67.5)"} <= set(_texts(figure))


def test_a_few_groups_share_a_row_and_each_has_a_key_and_a_column():
    figure = chart(summary(TWO_GROUPS))
    texts = _texts(figure)
    assert {"early, k / n", "late, k / n", "20 / 40", "9 / 41"} <= set(texts)
    assert texts.count("female") == 1


@pytest.mark.parametrize(
    "result",
    [
        summary(()),
        summary([("age, years", "", "all", "median", NAN, 1, 0, 1, 56.0, 56.0, 56.0)]),
        summary([("age, years", "", "all", "median", NAN, 0, 5, 0, NAN, NAN, NAN)]),
        summary([("sex", "f", f"g{g}", "share", 3, 9, 0, 9, 1 / 3, NAN, NAN) for g in range(12)]),
        summary([("yield, ml", "", "a" * 99, "geometric mean", 9, 9, 0, 9, NAN, NAN, NAN)]),
    ],
    ids=["empty", "one patient", "no values", "12 groups", "no yield anywhere"],
)
@pytest.mark.parametrize("width", ["page", "column"])
def test_awkward_results_still_give_a_figure(result, width):
    figure = chart(result, width=width)
    assert figure.alt
    assert figure.image("png", width=width, dpi=30).startswith(b"\x89PNG")


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
    assert findings(summary(())) == ("There are no values to words.",)


def test_a_contrast_is_said_with_its_interval_and_p():
    said = findings(comparison())
    assert said[0] == "Ratio of geometric means, cap suction v snare: 1.42 (95 % CI 1.05–1.92; p = 0.023)."
    assert said[2] == "Risk difference, cap suction v snare: −3.2 percentage points (95 % CI −9.1 to 2.7)."
    assert findings(comparison(())) == ("There is nothing to compare.",)
