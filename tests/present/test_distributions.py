from __future__ import annotations

import math

import pytest

from builders.results import CASE_ROWS, COMPLETE_ROWS, NAN, summary
from necrostats.present import chart

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
    assert names == ["sessions: texture", "sessions: yield low", "patients: age years", "scans: modality"]
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
