from __future__ import annotations

import re
from html.parser import HTMLParser

import pandas as pd
import pytest

from builders.results import (
    CASE_ROWS,
    COMPLETE_ROWS,
    NAN,
    comparison,
    curves,
    exact_curves,
    no_rates,
    note,
    rates,
    summary,
)
from necrostats.errors import ChoiceError
from necrostats.present import Table, table, words

RESULTS = {
    "curves": curves(),
    "groups": curves(groups={"a": 40, "b": 30}),
    "rates": rates(),
    "comparison": comparison(),
    "means": summary(),
    "case mix": summary(CASE_ROWS),
    "completeness": summary(COMPLETE_ROWS),
    "empty": no_rates(),
}


class _Balance(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []

    def handle_starttag(self, tag, attrs) -> None:
        self.open.append(tag)

    def handle_endtag(self, tag) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("result", RESULTS.values(), ids=RESULTS)
def test_a_table_is_accessible_and_carries_no_script_or_style(result):
    page = table(result).html
    if len(table(result).frame):
        assert page.startswith("<table><caption>")
        assert re.search(r'<th scope="col"', page)
    assert "<script" not in page
    assert " style=" not in page
    parser = _Balance()
    parser.feed(page)
    assert parser.open == []


@pytest.mark.parametrize("result", RESULTS.values(), ids=RESULTS)
def test_every_row_has_as_many_cells_as_the_table_has_columns(result):
    shown = table(result)
    waiting = 0
    for row in re.findall(r"<tr>(.*?)</tr>", shown.html):
        cells = len(re.findall(r"<t[hd]\b", row)) + (waiting > 0)
        span = re.search(r'rowspan="(\d+)"', row)
        waiting = int(span[1]) - 1 if span else max(0, waiting - 1)
        assert cells == len(shown.frame.columns)


def test_numbers_are_marked_for_right_alignment_and_row_heads_are_not():
    page = table(rates()).html
    assert '<th scope="row">Bleeding</th>' in page
    assert '<td class="number">8 / 880, 0.9 %' in page


def test_markup_in_a_label_is_escaped_in_html_and_in_markdown():
    nasty = Table(caption="<b>", frame=pd.DataFrame({"a": ["<script>x</script> | y"], "b": ["1"]}), notes=("<i>",))
    assert "<script" not in nasty.html
    assert "<script" not in nasty.markdown
    assert r"\|" in nasty.markdown
    assert "&lt;i&gt;" in nasty.html


def test_markup_is_escaped_in_headings_in_every_row_head_and_in_cells():
    nasty = "<script>x</script>"
    frame = pd.DataFrame({f"{nasty}1": [nasty, nasty], f"{nasty}2": [nasty, "b"], "c": [nasty, "d"]})
    for heads in (1, 2):
        page = Table(caption=nasty, frame=frame, row_heads=heads, words=("c",)).html
        assert "<script" not in page
        assert page.count("&lt;script&gt;") >= 6


def test_markdown_has_caption_heading_rule_rows_and_notes():
    lines = table(summary()).markdown.split("\n")
    assert lines[0].startswith("Debridement yield.")
    assert lines[3] == "| --- | --- | ---: | ---: | ---: | ---: | ---: |"
    assert lines[-1].startswith("Too few")


def test_the_frame_holds_text_only():
    frame = table(curves()).frame
    assert all(isinstance(cell, str) for cell in frame.to_numpy().ravel())


def test_something_that_is_no_result_is_answered_with_how_to_get_one():
    with pytest.raises(ChoiceError, match="Ask a measure first"):
        table(3)


def test_the_interval_of_a_heading_stays_on_one_line_in_html_and_is_plain_text_elsewhere():
    shown = table(curves())
    tied = "(95\N{NO-BREAK SPACE}%\N{NO-BREAK SPACE}CI)"
    assert f"Resolved, % {tied}</th>" in shown.html
    for plain in (shown.markdown, shown.frame.to_csv(index=False)):
        assert "\N{NO-BREAK SPACE}CI" not in plain
        assert "Resolved, % (95 % CI)" in plain


def test_a_table_without_a_row_is_its_caption_and_its_notes():
    empty = Table(caption="Nobody.", frame=pd.DataFrame(columns=["A", "B"]), notes=("None recorded.",))
    assert empty.html == '<div class="table-notes"><p>Nobody.</p><p>None recorded.</p></div>'


def test_the_denominator_table_puts_all_units_side_by_side():
    frame = table(rates()).frame
    assert list(frame.columns) == [
        "Measure",
        "Patients: k / n, % (95 % CI)",
        "Sessions: k / n, % (95 % CI)",
        "Patient-days: k / n, per 1,000 (95 % CI)",
    ]
    assert list(frame.iloc[0]) == [
        "Any adverse event",
        "11 / 235, 4.7 % (2.4–8.2)",
        "14 / 880, 1.6 % (0.9–2.7)",
        "15 / 14,210, 1.06 (0.59–1.74)",
    ]


def test_no_event_has_its_upper_limit_and_an_empty_group_its_row():
    rows = [
        ("perforation", "snare", "patients", 0, 30, 1, 0.0, 0.0, 0.1157),
        ("perforation", "net", "patients", 2, 4, 1, 0.5, 0.07, 0.93),
        ("perforation", "basket", "patients", 0, 0, 1, NAN, NAN, NAN),
    ]
    shown = table(rates(rows, groups=["snare", "net", "basket"]))
    assert list(shown.frame["Patients: k / n, % (95 % CI)"]) == [
        "0 / 30, 0 % (0–11.6)",
        "2 / 4, too few",
        "0 / 0, nobody at risk",
    ]
    assert shown.row_heads == 2
    assert shown.notes[0].startswith("Too few: fewer than 5")


def test_curves_are_tabulated_at_their_landmarks_and_a_median_is_never_infinite():
    rows = [
        ("all", cause, day, n, 0, 0, estimate, estimate - 0.05, estimate + 0.08)
        for cause, at in (("resolved", 0.62), ("death", 0.06))
        for day, n, estimate in ((0, 142, 0.06), (90, 37, at))
    ]
    medians = pd.DataFrame(
        {"group": "all", "cause": ["resolved", "death"], "estimate": [62.0, NAN], "low": [50.0, NAN]}
    ).assign(high=NAN)
    frame = table(exact_curves(rows, medians=medians)).frame
    assert list(frame.iloc[1]) == ["90", "37", "62 % (57–70)", "6.0 % (1.0–14.0)"]
    assert list(frame.iloc[2]) == ["Median, days", "", "62 (50 to not reached)", ""]
    medians.loc[1, ["estimate", "low", "high"]] = (55.5, 53.0, 69.0)
    frame = table(exact_curves(rows, medians=medians)).frame
    assert list(frame.iloc[2]) == ["Median, days", "", "62 (50 to not reached)", "55.5 (53–69)"]


def test_a_curve_of_three_patients_has_counts_at_risk_but_no_rate():
    frame = table(curves(groups={"a": 3})).frame
    assert set(frame["Resolved, % (95 % CI)"]) == {"too few"}
    assert frame["At risk"].iloc[0] == "3"


def test_a_group_without_anybody_keeps_a_row():
    frame = table(curves(groups={"a": 30}, categories=["a", "b"])).frame
    assert frame.iloc[-1]["By day"] == "nobody at risk"


def test_a_baseline_table_has_levels_down_groups_across_and_the_missing():
    frame = table(summary(CASE_ROWS)).frame
    assert list(frame.columns) == ["Variable", "Level", "All, n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}100", "Missing"]
    assert list(frame.iloc[0])[1:] == ["female", "40 (41 %)", "2"]
    ages = frame[frame["Variable"] == "Age, years"]
    assert list(ages.iloc[0])[:3] == ["Age, years", "median (quartiles)", "56 (44–67.5)"]


def test_how_many_are_missing_stands_once_a_variable_and_a_level_that_nobody_has_is_left_out():
    rows = [
        ("sex", "female", "all", "share", 0, 98, 2, 98, 0.0, NAN, NAN),
        ("sex", "male", "all", "share", 97, 98, 2, 98, 97 / 98, NAN, NAN),
        ("sex", "other", "all", "share", 1, 98, 2, 98, 1 / 98, NAN, NAN),
        ("infection", "none", "all", "share", 0, 0, 100, 0, NAN, NAN, NAN),
        ("infection", "confirmed", "all", "share", 0, 0, 100, 0, NAN, NAN, NAN),
    ]
    frame = table(summary(rows)).frame
    assert [tuple(row)[:2] for row in frame.itertuples(index=False)] == [
        ("Sex", "male"),
        ("Sex", "other"),
        ("Infection", "none"),
    ]
    assert list(frame["Missing"]) == ["2", "", "100"]


def test_briefly_a_baseline_table_has_a_row_a_variable():
    shown = table(summary(CASE_ROWS), brief=True)
    assert shown.frame["Variable"].is_unique
    cells = dict(zip(shown.frame["Variable"], shown.frame.iloc[:, 1], strict=True))
    assert cells["Sex"].startswith("female 40 (41 %), male")
    assert cells["Age, years"] == "median 56 (44–67.5)"
    assert shown.words == tuple(shown.frame.columns[1:2])


def test_measures_of_which_nothing_happened_stand_in_one_sentence_with_their_limits():
    rows = [
        (name, "all", "patients", events, 30, 1, events / 30, 0.0, high)
        for name, events, high in (("any", 4, 0.3), ("a", 0, 0.1157), ("b", 1, 0.17), ("c", 3, 0.27), ("d", 0, 0.1157))
    ]
    shown = table(rates(rows))
    assert list(shown.frame["Measure"]) == ["Any", "C", "B"]
    assert "None recorded: a and d (each 0 of 30 patients, up to 11.6 %)." in shown.notes


def test_a_rate_is_per_thousand_only_where_none_reaches_one_in_a_hundred():
    low = ("a", "all", "100 patient-days", 1, 101, 100, 100 / 101, 0.0, 5.5)
    one = ("a", "all", "100 patient-days", 1, 100, 100, 1.0, 0.0, 5.6)
    assert table(rates([low])).frame.columns[-1] == "Patient-days: k / n, per 1,000 (95 % CI)"
    assert table(rates([low])).frame.iloc[0, -1] == "1 / 101, 9.90 (0.00–55.00)"
    assert table(rates([one])).frame.iloc[0, -1] == "1 / 100, 1.00 (0.00–5.60)"


def test_a_table_of_means_names_patients_sessions_and_those_without_yield():
    frame = table(summary()).frame
    assert list(frame.iloc[0]) == ["Yield, ml", "cap suction", "12", "31", "2", "1", "184 (150–226)"]
    assert list(frame.iloc[2])[-1] == "too few"
    assert "no values" not in set(frame.iloc[:, -1])


def test_completeness_is_filled_over_rows():
    frame = table(summary(COMPLETE_ROWS)).frame
    assert list(frame.iloc[0]) == ["sessions: texture", "30 / 40", "75 %"]
    assert list(frame.iloc[3]) == ["scans: modality", "0 / 0", "no values"]


def test_a_comparison_says_measure_groups_interval_and_p():
    frame = table(comparison()).frame
    assert list(frame.iloc[0]) == ["Ratio of geometric means", "cap suction v snare", "1.42 (1.05–1.92)", "0.023"]
    assert frame.iloc[2, 0] == "Risk difference, percentage points"
    assert list(frame.iloc[2])[2:] == ["−3.2 (−9.1 to 2.7)", ""]


def test_the_notes_of_a_result_stand_under_its_table():
    assert table(rates(notes=[note("Three sessions were shared")])).notes[-1] == "Three sessions were shared."


def test_a_mean_that_enough_sessions_do_not_determine_is_said_to_be_so():
    rows = [("yield, ml", "", "snare", "geometric mean", 0, 9, 0, 4, NAN, NAN, NAN)]
    assert table(summary(rows)).frame.iloc[0].iloc[-1] == "not determined"
    assert "not determined: snare (9 sessions in 4 patients)" in words(summary(rows))


def test_other_ends_are_headed_as_first_ends():
    columns = list(table(curves()).frame.columns)
    assert columns[-2:] == ["Death first, % (95 % CI)", "Surgery first, % (95 % CI)"]


@pytest.mark.parametrize(("n", "listed"), [(4, True), (5, False)])
def test_the_case_mix_of_fewer_than_five_is_a_sentence_not_a_table(n, listed):
    rows = [("sex", "female", "all", "share", n, n, 0, n, 1.0, NAN, NAN)]
    shown = table(summary(rows), brief=True)
    assert shown.frame.empty is listed
    assert any(note.startswith(f"Sex female {n}") for note in shown.notes) is listed
