from __future__ import annotations

import re
from dataclasses import replace

import pandas as pd
import pytest

from builders.results import (
    CASE_ROWS,
    COMPLETE_ROWS,
    comparison,
    curves,
    exact_curves,
    method,
    no_rates,
    note,
    rates,
    summary,
)
from necrostats.errors import ChoiceError
from necrostats.present import cautions, definition_list, methods_paragraph, words
from necrostats.present.wording import about, ended, findings, in_order, listed, not_presentable, plain, plural


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("cap_suction", "cap suction"),
        ("sessions.texture", "sessions: texture"),
        ("asa_class", "ASA class"),
        ("2026Q3", "2026Q3"),
        ("A_b", "A_b"),
    ],
)
def test_a_code_is_written_in_plain_words(code, words):
    assert plain(code) == words


def test_the_order_of_labels_keeps_categories_with_nobody_in_them():
    values = pd.Series(pd.Categorical(["b"], categories=["a", "b"], ordered=True))
    assert in_order(values) == ["a", "b"]
    assert in_order(pd.Series(["y", "x", "y"])) == ["y", "x"]


@pytest.mark.parametrize(
    ("text", "said"), [("so it is", "so it is."), (" is it? ", "is it?"), ("It is.", "It is."), ("", ""), ("  ", "")]
)
def test_a_text_ends_as_a_sentence_once(text, said):
    assert ended(text) == said


@pytest.mark.parametrize(
    ("items", "said"), [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (iter("abc"), "a, b and c")]
)
def test_items_are_listed_with_and_before_the_last(items, said):
    assert listed(items) == said


def test_a_group_stands_before_its_sentence_which_goes_on_in_small_letters():
    assert about("cap_suction", True, "Within 90 days 5 resolved.") == "Cap suction: within 90 days 5 resolved."
    assert about("net", True, "AGREE grades were given.") == "Net: AGREE grades were given."
    assert about("all", False, "Within 90 days 5 resolved.") == "Within 90 days 5 resolved."


def test_a_group_called_none_does_not_read_as_if_nobody_was_meant():
    assert about("none", True, "Within 90 days 5 resolved.") == 'Group "none": within 90 days 5 resolved.'


@pytest.mark.parametrize(
    ("n", "noun", "said"),
    [(1, "patients", "patient"), (0, "patients", "patients"), (1.5, "days", "days"), (1, "%", "%")],
)
def test_a_noun_is_in_the_singular_for_exactly_one(n, noun, said):
    assert plural(n, noun) == said


def test_a_kind_of_result_has_its_findings_and_anything_else_is_refused():
    assert findings(rates())[0].startswith("11 of 235 patients")
    with pytest.raises(ChoiceError, match="no result"):
        findings("not a result")


def test_the_answer_names_what_was_given_and_how_to_get_a_result():
    asked = "Ask a measure first: result = time_to_resolution(registry)."
    assert str(not_presentable("x")) == f'This is no result but the text "x". {asked}'
    assert str(not_presentable(None)) == f"This is no result but nothing. {asked}"
    assert str(not_presentable(rates())).endswith("is a list and has no figure. Show it with table(result).")


RESULTS = [curves(), rates(), comparison(), summary(), summary(CASE_ROWS), summary(COMPLETE_ROWS), no_rates()]


@pytest.mark.parametrize("result", RESULTS, ids=lambda each: each.title)
def test_no_sentence_claims_a_cause_or_shows_a_bare_blank(result):
    text = words(result)
    assert not re.search(r"\b(caus|due to|led to|result(ed)? in|reduc|improv|because)", text.lower())
    assert not re.search(r"\bnan\b|\binf\b|<NA>|None\b(?! )", text)


@pytest.mark.parametrize("result", RESULTS, ids=lambda each: each.title)
def test_every_percentage_of_a_finding_stands_with_its_denominator(result):
    for sentence in words(result).split(". "):
        if re.search(r"\d %", sentence.replace("95 %", "").replace("97.5 %", "")):
            assert re.search(r" of \d|any of \d|n = \d", sentence)


def test_estimand_definition_left_out_and_notes_follow_the_findings():
    text = words(rates(notes=[note("Clustering cannot be estimated")]))
    places = [text.index(part) for part in ("Estimand: ", "Definition: ", "Left out: events not checked (3).")]
    assert places == sorted(places)
    assert text.endswith("Clustering cannot be estimated.")


def test_findings_the_way_of_counting_and_each_note_are_paragraphs():
    said = words(rates(notes=[note("Clustering cannot be estimated"), note("One patient had most events")]))
    first, counted, *notes = said.paragraphs
    assert first.startswith("11 of 235 patients") and "Estimand" not in first
    assert counted.startswith("Estimand: ") and "Left out: " in counted
    assert notes == ["Clustering cannot be estimated.", "One patient had most events."]
    assert str(said).count("\n\n") == 3
    assert said._repr_html_().count("<p>") == 4


def test_something_that_is_no_result_is_answered_with_how_to_get_one():
    with pytest.raises(ChoiceError, match="Ask a measure first"):
        words(None)


def test_each_method_is_defined_once_under_the_titles_that_use_it():
    page = definition_list([rates(), rates(title="Bleeding <only>"), curves()])
    assert page.count("<div>") == 2
    assert "<dt>Bleeding &lt;only&gt;</dt>" in page
    assert page.count("Share of patients") == 1 and "95 % intervals: " in page
    assert definition_list([]) == ""


def test_a_definition_stands_where_it_is_first_needed_and_the_sources_once_at_the_end():
    first = rates(references=("Garwood F, Biometrika 1936;28:437",))
    second = replace(first, title="Bleeding", method=replace(first.method, estimand="share of bleeders"))
    page = definition_list([first, second])
    assert page.count("During the session or within 30 days of it.") == 1 == page.count("Garwood F")
    assert page.index("Share of bleeders") < page.index("<dt>Sources</dt>") < page.index("Garwood F")


def test_the_methods_text_says_estimator_and_interval_once_and_ends_with_the_sources():
    shared = {"references": ("Garwood F, Biometrika 1936;28:437",)}
    text = methods_paragraph([rates(**shared), rates(title="Bleeding", **shared)])
    assert text.count("Garwood F") == 1
    assert text.startswith("Adverse events during and to 30 days and Bleeding: share of patients")
    assert "95 % intervals: Clopper–Pearson" in text
    assert text.endswith("Sources: Garwood F, Biometrika 1936;28:437.")


def test_a_description_without_interval_says_so():
    text = methods_paragraph([rates(interval="none: a count, not an inference")])
    assert "No interval: a count, not an inference." in text


def test_the_cautions_say_what_the_figures_are_not_for():
    text = " ".join(cautions())
    for phrase in (
        "chosen, not assigned",
        "not a medical device",
        "not for decisions about one patient",
        "recalling stents",
        "Definition, window and denominator",
        "No signal",
        "context",
        "ethics body",
        "certify nothing",
        "not ranked",
    ):
        assert phrase in text


def test_another_level_is_named_everywhere():
    rows = [("all", "resolved", day, 50, 5, 0, 0.3, 0.2, 0.4) for day in (0, 90)]
    assert "90 % CI 20–40 %" in words(exact_curves(rows, method=method(level=0.9)))
