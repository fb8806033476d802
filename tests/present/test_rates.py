from __future__ import annotations

import math

import pytest

from builders.results import NAN, comparison, no_rates, rates
from necrostats.present import chart
from necrostats.present.wording import findings

SMALL = [
    ("bleeding", "snare", "patients", 4, 44, 1, 4 / 44, 0.03, 0.22),
    ("bleeding", "net", "patients", 1, 3, 1, 1 / 3, 0.01, 0.91),
    ("bleeding", "basket", "patients", 0, 0, 1, NAN, NAN, NAN),
    ("bleeding", "net", "100 patient-days", 1, 57, 100, 1.75, 0.04, 9.77),
]


def _texts(figure) -> list[str]:
    return [text.get_text() for text in figure.fig.texts]


def test_each_unit_has_a_panel_and_a_scale_of_its_own():
    figure = chart(rates())
    assert [axes.get_xlabel() for axes in figure.fig.axes] == [
        "% of patients",
        "% of sessions",
        "per 1,000 patient-days",
    ]
    assert "Each panel has its own unit and scale" in figure.caption


def test_each_row_says_events_and_n_and_the_rate_with_its_interval():
    texts = _texts(chart(rates()))
    assert "14 / 880" in texts
    assert "1.6 % (0.9–2.7)" in texts
    assert "1.06 (0.59–1.74)" in texts


def test_none_of_thirty_is_an_open_marker_at_zero_with_its_upper_limit():
    axes = chart(rates()).fig.axes[0]
    hollow = [line for line in axes.lines if line.get_markerfacecolor() == "white"]
    assert [line.get_xdata()[0] for line in hollow] == [0.0]
    ends = [max(line.get_xdata()) for line in axes.lines if len(line.get_xdata()) == 2]
    assert 0.1157 in ends


def test_a_group_too_small_or_empty_keeps_its_row_and_has_no_rate():
    figure = chart(rates(SMALL, groups=["snare", "net", "basket"]))
    texts = _texts(figure)
    assert texts.count("too few") == 2
    assert "nobody at risk" in texts
    by_group = figure.data.set_index(["group", "unit"])["estimate"]
    assert math.isnan(by_group["net", "patients"])
    assert math.isnan(by_group["net", "100 patient-days"])
    assert by_group["snare", "patients"] == 4 / 44


def test_with_groups_only_as_many_measures_are_drawn_as_can_be_read():
    rows = [(f"type {v}", g, "patients", 1, 50, 1, 0.02, 0.0, 0.1) for v in range(19) for g in ("a", "b")]
    figure = chart(rates(rows))
    assert figure.data["variable"].nunique() == 8
    assert "11 further measures in the table only" in figure.caption


def test_a_ratio_is_drawn_on_a_logarithmic_scale_around_one_and_a_difference_around_zero():
    ratio, difference = chart(comparison()).fig.axes
    assert ratio.get_xscale() == "log"
    assert any(list(line.get_xdata()) == [1.0, 1.0] for line in ratio.lines)
    assert difference.get_xscale() == "linear"
    assert any(list(line.get_xdata()) == [0.0, 0.0] for line in difference.lines)


def test_a_comparison_shows_estimate_interval_and_p():
    texts = _texts(chart(comparison()))
    assert {"cap suction v snare", "1.42 (1.05–1.92)", "p = 0.023", "−3.2 (−9.1 to 2.7)"} <= set(texts)


@pytest.mark.parametrize(
    "result",
    [
        no_rates(),
        comparison(()),
        comparison([("a", "b", "odds ratio", 3.0, 0.0, math.inf, NAN, 0.5), ("c", "b", "odds ratio", *[NAN] * 5)]),
        rates([("y", "all", "patients", 3, 100, 1, 0.03, NAN, NAN)]),
        rates([("z" * 120, "<script>", "patients", 0, 1, 1, 0.0, 0.0, 0.975)]),
        rates([("v", f"g{g}", "patients", 1, 20, 1, 0.05, 0.0, 0.2) for g in range(12)]),
    ],
    ids=["empty", "nothing to compare", "no limit", "no interval", "one patient", "12 groups"],
)
@pytest.mark.parametrize("width", ["page", "column"])
def test_awkward_results_still_give_a_figure(result, width):
    figure = chart(result, width=width)
    assert figure.alt
    assert figure.image("png", width=width, dpi=30).startswith(b"\x89PNG")


@pytest.mark.parametrize("width", ["page", "column"])
@pytest.mark.parametrize("result", [rates(), comparison(), rates(SMALL)], ids=["rates", "comparison", "groups"])
def test_no_text_leaves_the_sheet_or_lies_on_another(result, width):
    sheet = chart(result, width=width).fig
    boxes = [text.get_window_extent(sheet.canvas.get_renderer()) for text in sheet.texts]
    assert all(box.x0 >= -1 and box.x1 <= sheet.bbox.x1 + 1 for box in boxes)
    slim = [box.expanded(0.98, 0.8) for box in boxes]
    clashes = [(a, b) for i, a in enumerate(slim) for b in slim[i + 1 :] if a.overlaps(b)]
    assert clashes == []


def _one(*row) -> str:
    return " ".join(findings(rates([row])))


def test_patients_and_sessions_are_never_in_one_sentence():
    for sentence in findings(rates()):
        assert not ("patients" in sentence and "sessions" in sentence)


def test_events_after_sessions_are_said_to_have_followed_them():
    said = findings(rates())
    assert said[1] == "14 of 880 sessions (1.6 %, 95 % CI 0.9–2.7 %) were followed by at least one adverse event."
    assert said[0] == "11 of 235 patients (4.7 %, 95 % CI 2.4–8.2 %) had at least one adverse event."
    assert said[2] == "Any adverse event: 15 in 14,210 patient-days, 1.06 per 1,000 patient-days (95 % CI 0.59–1.74)."


def test_no_event_is_said_with_what_is_still_compatible():
    assert _one("perforation", "all", "sessions", 0, 30, 1, 0.0, 0.0, 0.1157) == (
        "No perforation followed any of 30 sessions; up to 11.6 % is compatible with these data "
        "(97.5 % one-sided limit)."
    )
    assert _one("any adverse event", "all", "patients", 0, 30, 1, 0.0, 0.0, 0.1157).startswith(
        "No adverse event was recorded in any of 30 patients; up to 11.6 %"
    )
    assert _one("bleeding", "all", "100 patient-days", 0, 4210, 100, 0.0, 0.0, 0.0876).startswith(
        "No bleeding was recorded in 4,210 patient-days; up to 0.88 per 1,000 patient-days"
    )


def test_something_that_is_no_event_is_not_said_to_have_followed():
    assert _one("technical success", "all", "patients", 28, 30, 1, 28 / 30, 0.779, 0.992) == (
        "Technical success: 28 of 30 patients (93 %, 95 % CI 78–99 %)."
    )
    assert _one("technical success", "all", "patients", 0, 30, 1, 0.0, 0.0, 0.1157).startswith(
        "Technical success: none of 30 patients; up to 11.6 %"
    )


def test_fewer_than_five_are_listed_without_a_rate():
    text = _one("bleeding", "all", "patients", 1, 3, 1, 1 / 3, 0.01, 0.91)
    assert text == "Bleeding: 1 of 3 patients; too few patients or sessions for a rate."


def test_nobody_at_risk_is_said():
    assert _one("bleeding", "all", "patients", 0, 0, 1, NAN, NAN, NAN) == "Bleeding, by patients: nobody at risk."
    assert findings(no_rates()) == ("Nobody is in this table, so there is no rate.",)


def test_the_types_are_listed_in_one_unit_with_their_denominators():
    last = findings(rates())[-1]
    assert "bleeding 7 of 235 (3.0 %, 1.2–6.0 %)" in last
    assert "None recorded: perforation (each 0 of 30 patients, up to 11.6 %)" in last


def test_a_group_is_named_before_its_sentence():
    rows = [("bleeding", group, "patients", 2, 40, 1, 0.05, 0.01, 0.17) for group in ("cap_suction", "snare")]
    said = findings(rates(rows))
    assert said[0] == "Cap suction: 2 of 40 patients (5 %, 95 % CI 1–17 %) had bleeding."
