import io
from itertools import islice

import docx
import numpy as np
import pytest

from builders.planted_drafts import planted, rewritten, with_own_words
from builders.series import first_patients, series
from necrostats.measures import case_series
from necrostats.present import abstract, words
from necrostats.present.bound import NUMBER
from necrostats.present.documents import document
from necrostats.report.draft_checking import DISAGREES, MIXED_UNITS, NO_SOURCE, OTHER_NAME, STALE, check_draft

GROUPS = ("confirmed", "suspected", "none")


@pytest.fixture(scope="module")
def text():
    return abstract(series("infection"), word_limit=900)


@pytest.fixture
def check(tmp_path, text):
    def checked(written, name="draft.md", results=text):
        path = tmp_path / name
        path.write_bytes(written if isinstance(written, bytes) else written.encode("utf-8"))
        return check_draft(path, results)

    return checked


def kinds(found):
    return {finding.problem for finding in found.findings}


def test_fifty_of_fifty_planted_errors_are_found(check, text):
    drafts = list(islice(planted(with_own_words(text.markdown), 7, groups=GROUPS), 50))
    assert len({draft.kind for draft in drafts}) == 9
    missed = [(draft.kind, draft.was, draft.became) for draft in drafts if not check(draft.text).findings]
    assert missed == []


def test_errors_planted_in_drafts_that_were_rewritten_are_found_too(check, text):
    for seed in range(12):
        clean = rewritten(with_own_words(text.markdown), seed).text
        draft = next(islice(planted(clean, seed, groups=GROUPS), seed % 9, None))
        assert check(draft.text).findings, (seed, draft.kind, draft.was, draft.became)


def test_nothing_is_raised_on_clean_drafts_however_they_are_rewritten(check, text):
    for written in (text.markdown, text.text, with_own_words(text.markdown)):
        found = check(written)
        assert found.findings == () and found.stale is False and found.numbers > 50
    for seed in range(15):
        assert check(rewritten(with_own_words(text.markdown), seed).text).findings == ()


@pytest.mark.parametrize("which", [("sex", 12), ("", 4)], ids=str)
@pytest.mark.slow
def test_nothing_is_raised_on_the_document_as_it_was_written(check, which):
    made = abstract(series(*which))
    assert check(document(made), "draft.docx", made).findings == ()


@pytest.mark.slow
def test_a_number_changed_anywhere_in_the_document_is_found(check):
    made = abstract(series("", 12))
    content, draw = document(made), np.random.default_rng(2)
    for _ in range(5):
        file = docx.Document(io.BytesIO(content))
        cells = [cell for table in file.tables for row in table.rows for cell in row.cells[1:]]
        runs = [run for each in cells for run in each.paragraphs[0].runs if NUMBER.search(run.text)]
        run = runs[draw.integers(len(runs))]
        found = NUMBER.search(run.text)
        run.text = f"{run.text[: found.start()]}{int(float(found[0].replace(',', ''))) + 3}{run.text[found.end() :]}"
        changed = io.BytesIO()
        file.save(changed)
        assert DISAGREES in kinds(check(changed.getvalue(), "draft.docx", made)), run.text


def test_a_finding_names_place_number_source_and_what_the_results_say(check, text):
    (found,) = check(text.markdown.replace("estimated 69 %", "estimated 68 %")).findings
    assert (found.written, found.expected, found.problem) == ("68", "69", DISAGREES)
    assert found.source == "time: group all, cause resolved, days 90: estimate" and found.where == "paragraph 3"


def test_per_patient_put_for_per_session_is_a_mixed_unit(check, text):
    assert MIXED_UNITS in kinds(check(text.markdown.replace("60 of 537 sessions", "60 of 537 patients")))
    assert MIXED_UNITS in kinds(check("Results: in our hands 60 of 537 patients bled."))


def test_swapped_groups_are_another_group(check, text):
    swapped = (
        text.markdown.replace(" confirmed: ", " x: ").replace(" none: ", " confirmed: ").replace(" x: ", " none: ")
    )
    assert OTHER_NAME in kinds(check(swapped))


def test_a_number_from_nowhere_has_no_source_and_one_from_a_table_has(check):
    assert kinds(check("Results: A mean of 4.73 stents was placed.")) == {NO_SOURCE}
    assert check("Results: Bleeding was seen in 18 of 141 patients (13 %).").findings == ()
    assert kinds(check("Results: Bleeding was seen in 18 of 141 patients (15 %).")) == {DISAGREES}


OWN = "Results: Bleeding followed 22 of 537 sessions (4.1 %, 95 % CI 2.4–6.5 %), and 18 of 141 patients bled, in 2024."


def test_an_authors_own_sentence_is_compared_count_by_count_share_by_share_and_limit_by_limit(check):
    assert check(OWN).findings == ()
    wrong = {
        "22 of 537": ("23 of 537", NO_SOURCE),
        "of 141": ("of 143", NO_SOURCE),
        "537 sessions": ("537 patients", MIXED_UNITS),
        "4.1 %": ("4.7 %", DISAGREES),
        "2.4–6.5": ("2.4–6.6", DISAGREES),
        "2.4–": ("2.9–", DISAGREES),
    }
    for was, (became, problem) in wrong.items():
        found = check(OWN.replace(was, became))
        assert [each.problem for each in found.findings] == [problem], became


def test_numbers_of_background_and_of_tables_figures_and_references_are_the_authors(check):
    found = check(
        "## Background\nIn 2019 37 of 91 centres did so [3, 4].\n\n## Results\nSee Table 4 and Figure 2 [12]."
    )
    assert found.findings == () and found.passed_over == 3


def test_a_stale_own_figure_is_found_even_in_the_discussion(check, text):
    old = str(text.results["deaths"]).replace("12 of 142", "11 of 139")
    assert kinds(check(f"## Discussion\n{old}")) == {DISAGREES}


def test_fewer_decimals_than_in_the_results_are_no_error_and_wrong_ones_are(check, text):
    assert "8.5 %, 95 % CI 4.4–14.3 %" in text.markdown
    assert check(text.markdown.replace("8.5 %, 95 % CI 4.4–14.3 %", "8.5 %, 95 % CI 4–14 %")).findings == ()
    assert check(text.markdown.replace("8.5 %, 95 % CI 4.4–14.3 %", "8.5 %, 95 % CI 5–14 %")).findings


@pytest.mark.slow
def test_other_data_or_definitions_make_a_draft_stale(check, text):
    now = abstract(case_series(first_patients(120, start=0), by="infection"), word_limit=900)
    found = check(text.markdown, results=now)
    assert found.stale is True and "rests on other data" in found.summary
    marks = [each.written for each in found.findings if each.problem == STALE]
    assert marks == [f"data {text.series.data_hash}"]
    other = abstract(case_series(first_patients(4), level=0.9))
    same = abstract(series("", 4))
    assert [each.written.split()[0] for each in check(same.text, "x.txt", other).findings if each.problem == STALE] == [
        "definitions"
    ]


def test_a_draft_without_its_mark_says_that_it_cannot_be_told(check, text):
    found = check(text.markdown.replace(text.stamp, ""))
    assert found.stale is None and "carries no mark" in found.summary and found.findings == ()


def test_the_mark_in_the_foot_of_a_document_is_enough(check):
    made = abstract(series("", 4))
    file = docx.Document(io.BytesIO(document(made)))
    for paragraph in file.paragraphs:
        if paragraph.text == made.stamp:
            paragraph.clear()
    written = io.BytesIO()
    file.save(written)
    assert check(written.getvalue(), "draft.docx", made).stale is False


def test_sentences_of_any_result_can_be_checked_without_a_case_series(check):
    result = series().results["time"]
    said = words(result)
    assert check(said, "x.txt", result).findings == ()
    assert check(said.replace("72 days", "74 days"), "x.txt", [result]).findings


@pytest.mark.slow
def test_a_draft_of_another_length_is_checked_against_the_same_series(check):
    made = series("", 12)
    for limit in (200, 900):
        assert check(document(abstract(made, word_limit=limit)), "draft.docx", made).findings == ()


def test_an_empty_draft_has_nothing_to_compare(check):
    found = check("", "x.txt")
    assert (found.findings, found.numbers) == ((), 0) and len(found.frame.columns) == 6


def test_a_hostile_draft_is_shown_as_text(check):
    shown = check("Results: <script>alert(4711)</script> in 4711 patients.")._repr_html_()
    assert "<script>" not in shown and "4711" in shown


def test_names_of_rows_swapped_in_a_table_are_found_and_a_row_left_out_is_none(check, text):
    file = docx.Document(io.BytesIO(document(text)))
    made = next(each for each in file.tables if each.rows[0].cells[1].text == "Group")
    one, two = (made.rows[place].cells[1].paragraphs[0].runs[0] for place in (1, 2))
    one.text, two.text = two.text, one.text
    changed = io.BytesIO()
    file.save(changed)
    assert DISAGREES in kinds(check(changed.getvalue(), "draft.docx"))
    one.text, two.text = two.text, one.text
    made._tbl.remove(made.rows[3]._tr)
    shorter = io.BytesIO()
    file.save(shorter)
    assert check(shorter.getvalue(), "draft.docx").findings == ()
