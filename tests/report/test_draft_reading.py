import io
import zipfile

import docx
import pytest

from necrostats.errors import ChoiceError, SourceError
from necrostats.report.draft_reading import DraftParagraph, DraftTable, fraction, read_draft, sentences, tokens

W = 'xmlns:w="http://schemas.openxmlformats.org/wordprocessingml/2006/main"'


def saved(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def word(tmp_path, body):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as made:
        made.writestr("word/document.xml", f"<w:document {W}><w:body>{body}</w:body></w:document>")
    return saved(tmp_path, "x.docx", file.getvalue())


def texts(draft):
    return [(part.section, part.text) for part in draft.parts if isinstance(part, DraftParagraph)]


def test_markdown_is_read_without_its_marks_and_under_its_headings(tmp_path):
    text = "# My title\n\n## Methods\n**All** 3 patients\nin *one* line &lt; 4\\.\n\n**Results:** 5 of 6.\n"
    draft = read_draft(saved(tmp_path, "x.md", text))
    assert texts(draft) == [("Methods", "All 3 patients in one line < 4."), ("Results", "5 of 6.")]


def test_a_markdown_table_is_read_as_rows_of_cells(tmp_path):
    draft = read_draft(saved(tmp_path, "x.md", "| a | b \\| c |\n| --- | ---: |\n| 1 | 2 |\n"))
    assert draft.parts == (DraftTable(where="table 1", section="", rows=(("a", "b | c"), ("1", "2"))),)


def test_plain_text_has_sections_where_a_line_or_an_opening_names_one(tmp_path):
    draft = read_draft(saved(tmp_path, "x.txt", "Background\nIn 2019.\r\n\r\nResults: 5 of 6."))
    assert texts(draft) == [("Background", "In 2019."), ("Results", "5 of 6.")]


def test_a_word_document_is_read_in_order_with_headings_and_tables(tmp_path):
    file = docx.Document()
    file.add_heading("Results", 1)
    file.add_paragraph("5 of 6.")
    made = file.add_table(rows=2, cols=2)
    for cell, text in zip((cell for row in made.rows for cell in row.cells), "abcd", strict=True):
        cell.text = text
    file.add_paragraph("After it.")
    file.save(tmp_path / "x.docx")
    parts = read_draft(tmp_path / "x.docx").parts
    assert [type(part).__name__ for part in parts] == ["DraftParagraph", "DraftTable", "DraftParagraph"]
    assert parts[1].rows == (("a", "b"), ("c", "d")) and parts[2].section == "Results"


def test_what_was_struck_out_is_not_read_and_what_was_put_in_is(tmp_path):
    body = (
        "<w:p><w:r><w:t>9 of </w:t></w:r><w:del><w:r><w:delText>10</w:delText><w:t>11</w:t></w:r></w:del>"
        "<w:ins><w:r><w:t>12</w:t></w:r></w:ins><w:hyperlink><w:r><w:t> x</w:t></w:r></w:hyperlink></w:p>"
    )
    assert texts(read_draft(word(tmp_path, body))) == [("", "9 of 12 x")]


def test_a_cell_that_goes_on_from_above_holds_its_text_again(tmp_path):
    cell = "<w:tc><w:tcPr><w:vMerge {}/></w:tcPr><w:p><w:r><w:t>{}</w:t></w:r></w:p></w:tc>"
    rows = [cell.format('w:val="restart"', "sex"), cell.format("", "")]
    draft = read_draft(word(tmp_path, "<w:tbl>" + "".join(f"<w:tr>{row}</w:tr>" for row in rows) + "</w:tbl>"))
    assert draft.parts[0].rows == (("sex",), ("sex",))


@pytest.mark.parametrize("content", [b"", b"PK", b"no zip at all"])
def test_what_is_no_word_document_is_refused_in_words(tmp_path, content):
    with pytest.raises(SourceError, match="Save it again"):
        read_draft(saved(tmp_path, "x.docx", content))


def test_a_word_document_that_names_entities_is_refused(tmp_path):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as made:
        made.writestr("word/document.xml", '<!DOCTYPE x [<!ENTITY a "b">]><x>&a;</x>')
    with pytest.raises(SourceError, match="cannot be read"):
        read_draft(saved(tmp_path, "x.docx", file.getvalue()))


def test_a_zip_without_a_document_another_ending_and_no_file_are_refused(tmp_path):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as made:
        made.writestr("a.txt", "a")
    with pytest.raises(SourceError, match="holds no Word document"):
        read_draft(saved(tmp_path, "x.docx", file.getvalue()))
    with pytest.raises(ChoiceError, match=r"\.docx, \.md, \.txt"):
        read_draft(tmp_path / "x.pdf")
    with pytest.raises(SourceError, match="cannot be read"):
        read_draft(tmp_path / "nothing.md")
    with pytest.raises(SourceError, match="UTF-8"):
        read_draft(saved(tmp_path, "x.md", "é".encode("latin-1")))


def test_plain_text_with_long_lines_has_a_line_a_paragraph(tmp_path):
    long = "word " * 40
    draft = read_draft(saved(tmp_path, "x.txt", f"Results\n{long}\n5 of 6\n\n7 of 8\n"))
    assert texts(draft) == [("Results", long.strip()), ("Results", "5 of 6"), ("Results", "7 of 8")]


def written_texts(text):
    return [token.text for token in tokens(text)]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("69 % (60–76 %)", "69% (60-76%)"),
        ("3.6 %", "3·6\N{NO-BREAK SPACE}%"),
        ("28–44", "28 to 44"),
        ("median, 72 days", "Median 72 DAYS"),
    ],
)
def test_the_same_thing_typed_otherwise_is_the_same(one, other):
    assert [(token.same, token.value) for token in tokens(one)] == [
        (token.same, token.value) for token in tokens(other)
    ]


def test_numbers_of_tables_figures_and_references_are_passed_over():
    assert written_texts("See Table 2, Figure 1a and [12, 13]: 5 of 6") == ["See", "and", "5", "of", "6"]


def test_a_minus_is_a_sign_and_a_dash_between_numbers_is_a_range():
    assert [token.value for token in tokens("−19.5 to 21.7; 3-4") if token.is_number] == [-19.5, 21.7, 3, 4]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("50 of 141 patients (35 %, 95 % CI 28–44 %)", ["141", "35", "28", "44"]),
        ("50 of 141 patients (35 %, 28–44 %)", ["141", "35", "28", "44"]),
        ("50 of 141 (35 %)", ["141", "35"]),
        ("50 of 141 patients bled, 35 % of them", ["141"]),
        ("5.5 of 141", None),
        ("50 patients", None),
    ],
)
def test_a_fraction_is_read_with_its_share_and_limits(text, found):
    said = tokens(text)
    there = fraction(said, 0)
    assert (there and [said[place].text for place in sorted(there.places)]) == found


def test_sentences_end_at_a_stop_before_a_capital_or_a_number_and_not_in_a_number():
    assert sentences("A 3.5 b. 50 of 6 (x). Lancet 2007;370:1453. end.") == [
        "A 3.5 b.",
        "50 of 6 (x).",
        "Lancet 2007;370:1453. end.",
    ]
