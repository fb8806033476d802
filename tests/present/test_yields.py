from dataclasses import replace

import pytest

from builders.debridements import registry_of, series
from necrostats import chart, table, words
from necrostats.errors import ChoiceError
from necrostats.measures import attribution_sensitivity, compare_yield, precision_plan, yield_answer, yield_overlap
from necrostats.present.wording import findings

PAIR = {"reference": "snare", "primary": "powered_debrider"}


@pytest.fixture(scope="module")
def registry():
    sessions = series(20)
    sessions[0] = replace(sessions[0], low=0.0)
    sessions[4] = replace(sessions[4], low=0.0, high=50.0)
    sessions[5] = replace(sessions[5], low=500.0, high=None, exact=False)
    return registry_of(*sessions)


@pytest.fixture(scope="module")
def compared(registry):
    return compare_yield(registry, **PAIR)


@pytest.fixture(scope="module")
def rules(registry):
    return attribution_sensitivity(registry, **PAIR)


def _texts(figure):
    return [text.get_text() for text in figure.fig.texts]


def test_a_sentence_holds_the_three_models_with_their_intervals_and_sessions(compared):
    said = findings(compared)[0]
    assert said.startswith("Yield, ml, powered debrider v snare, ratio: crude ")
    assert said.count("95 % CI") == 3 and said.count(" sessions)") == 3 and "p < 0.001" in said


def test_the_table_has_a_row_a_class_and_a_column_a_model(compared):
    frame = table(compared).frame
    assert list(frame.columns) == [
        "Class",
        "Sessions",
        "Crude (95 % CI)",
        "Adjusted (95 % CI)",
        "Within patients (95 % CI)",
        "Difference in the share of sessions with some yield, percentage points (95 % CI)",
        "p-value",
    ]
    assert frame["Class"].tolist() == ["powered debrider v snare (primary)"]


def test_the_record_has_a_row_a_class_that_was_used(compared):
    assert table(compared, of="record").frame["Class"].tolist() == ["powered debrider", "snare"]


def test_the_forest_has_a_mark_a_model(compared):
    figure = chart(compared)
    assert figure.fig.axes[0].get_xscale() == "log" and len(figure.data) == 3
    assert "Powered debrider v snare, the primary contrast" in _texts(figure)


def test_every_yield_is_drawn_open_ends_as_arrows_and_none_before_the_axis(compared):
    figure = chart(compared, of="amounts")
    marks = [line.get_marker() for line in figure.fig.axes[0].lines]
    assert (marks.count("<"), marks.count(">"), marks.count("D")) == (1, 1, 2)
    assert marks.count("o") + marks.count("s") == 57
    assert "none" in _texts(figure) and len(figure.data) == 60


def test_patients_with_both_classes_are_linked(compared):
    lines = [line for line in chart(compared, of="amounts").fig.axes[0].lines if line.get_zorder() == 1]
    assert len(lines) == 20


def test_a_share_cleared_has_an_axis_from_0_to_100():
    sessions = [replace(each, unit="percent_cleared", low=min(100.0, round(each.low / 3))) for each in series(10)]
    axes = chart(compare_yield(registry_of(*sessions), **PAIR), of="amounts").fig.axes[0]
    assert axes.get_xscale() == "linear" and axes.get_xlim() == (0.0, 100.0)


def test_every_estimate_stands_above_what_went_into_it(rules):
    figure = chart(rules)
    texts = _texts(figure)
    for part in ("Shared sessions", "one-class sessions only", "Adjusted for", "texture", "within patients"):
        assert part in texts
    points = [line for line in figure.fig.axes[0].lines if line.get_marker() == "o"]
    assert len(points) == len(rules.frame) and sum(p.get_markerfacecolor() == "#0072B2" for p in points) == 5
    assert table(rules).frame["Shared sessions"].str.endswith("(to be judged by)").sum() == 5


def test_empty_cells_of_the_overlap_are_crossed_and_its_sentences_say_where():
    sessions = [
        replace(each, texture="tough" if "snare" in each.uses and each.day == 10 else "soft") for each in series(20)
    ]
    overlap = yield_overlap(registry_of(*sessions), reference="snare")
    assert "×" in _texts(chart(overlap))
    assert findings(overlap) == ("Powered debrider and snare cannot be compared at texture tough.",)
    assert table(overlap).frame.shape == (5 + 4 + 4, 4)


def test_the_plan_writes_counts_whole_and_shares_in_per_cent(registry):
    frame = table(precision_plan(registry, **PAIR)).frame
    assert frame["Sessions"].tolist() == ["30", "29"] and "Upper limit, %" in frame
    assert frame["Compared with"].tolist() == ["snare", ""]


def test_the_answer_is_drawn_and_tabled_as_a_comparison(registry, compared, rules):
    answer = yield_answer(compared, rules, precision_plan(registry, **PAIR))
    assert len(table(answer).frame) == 1 and chart(answer).alt.startswith("Points with intervals: Which removes more")
    assert "Estimand" in words(answer)


@pytest.mark.parametrize("width", ("page", "column"))
@pytest.mark.slow
def test_figures_are_drawn_for_a_column_too_and_are_the_same_bytes_twice(compared, rules, registry, width):
    for figure in (chart(compared), chart(compared, of="amounts"), chart(rules), chart(yield_overlap(registry))):
        assert figure.image("svg", width=width) == figure.image("svg", width=width)


def test_another_figure_or_table_is_answered_with_the_list(compared):
    with pytest.raises(ChoiceError, match="ratios, amounts"):
        chart(compared, of="points")
    with pytest.raises(ChoiceError, match="ratios, record"):
        table(compared, of="amounts")
