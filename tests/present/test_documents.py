import io
import re
import zipfile

import docx
import openpyxl
import pandas as pd
import pytest

from builders.series import first_patients, series, value_of, without
from necrostats.errors import ChoiceError, ReportError
from necrostats.measures import case_series
from necrostats.present import Table, abstract, chart, save_as, save_documents, table
from necrostats.present.bound import NUMBER, number_in
from necrostats.present.documents import NAME, PARTS, NotThere, document
from necrostats.present.style import PrintStyle
from necrostats.results import Listing, Method, Population


def unscanned():
    return case_series(without("scans"))


def nobody():
    return case_series(first_patients(0))


@pytest.mark.parametrize("made", [series("infection"), series("", 4), series("", 7), unscanned(), nobody()], ids=repr)
def test_every_part_is_a_table_or_says_why_it_is_not_there(made):
    for part in PARTS:
        shown = table(made, part=part)
        assert isinstance(shown, Table) is (part in made.results)
        if isinstance(shown, NotThere):
            assert shown.reason.startswith("Not shown") and shown.reason.endswith(".")
            assert str(chart(made, part=part)) == shown.reason


def test_a_part_that_needs_what_is_not_recorded_names_it():
    assert "it needs scans" in str(table(unscanned(), part="time"))
    assert "no groups were asked for" in str(table(series(), part="time_by_group"))
    assert "too few patients for it (7)" in str(table(series("", 7), part="time"))


def test_one_table_and_one_figure_are_chosen_for_print():
    assert table(series("infection")).frame.columns[-1] == "Largest standardised difference"
    assert "one by one" in table(series("", 4)).caption
    assert chart(series()).caption.startswith("Time to documented resolution")
    assert chart(series("", 7)).caption.startswith("Where courses stood")
    assert isinstance(chart(series("", 4)), NotThere)


def test_a_part_off_the_list_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match='Did you mean "baseline"'):
        table(series(), part="base_line")


HOSTILE = (
    '=HYPERLINK("http://x","y")',
    "+1+1",
    "@SUM(A1)",
    "<script>alert(1)</script>",
    "{{ 7*7 }} ${x} \\input{y}",
    "http://example.org/ mailto:x@example.org",
    "&amp;<w:instrText>DATE</w:instrText>",
    "\u202egnp.exe\u2066\u200f",
    "a\x00b\x1b\x08c\ufffe",
    "line\nbreak\ttab",
    "x" * 40000,
)


def hostile():
    """A listing whose every text, heading and note is out to do harm."""
    frame = pd.DataFrame({text[:60]: list(HOSTILE) for text in HOSTILE[:4]} | {"day": range(len(HOSTILE))})
    method = Method(
        estimand=HOSTILE[0], estimator=HOSTILE[3], interval=HOSTILE[7], level=0.95, references=(HOSTILE[5],)
    )
    return Listing(
        title=HOSTILE[0], frame=frame, population=Population(patients=1, left_out={HOSTILE[4]: 1}), method=method
    )


@pytest.fixture(scope="module", params=[("", 0), ("infection", 0), ("", 4), ("sex", 12)], ids=str)
def written(request):
    text = abstract(series(*request.param))
    return text, docx.Document(io.BytesIO(document(text)))


def test_every_number_of_the_abstract_in_the_docx_equals_its_result(written):
    text, file = written
    lines = [paragraph.text.replace("\N{NO-BREAK SPACE}", " ") for paragraph in file.paragraphs]
    for name, sentences in (("Methods", text.methods), ("Results", text.results.values())):
        said = lines[lines.index(name) + 1]
        printed = NUMBER.findall(said)
        bound = [number for sentence in sentences for number in sentence.numbers]
        assert printed == [number.printed for number in bound]
        for number in bound:
            value = value_of(text.series, number)
            shown = 100 * value if value is not None and number.unit in ("%", "percentage points") else value
            decimals = len(number.printed.partition(".")[2])
            assert value is None or abs(number_in(number.printed) - shown) <= 0.5 * 10**-decimals + 1e-9


def test_every_cell_of_every_table_in_the_docx_is_that_of_its_result(written):
    text, file = written
    names = [
        text.series.table_for_print(),
        *(each for each in text.series.results if each != text.series.table_for_print()),
    ]
    for name, made in zip(names, file.tables[:-1], strict=True):
        shown = table(text.series.results[name]).frame
        cells = [[cell.text.replace("\N{NO-BREAK SPACE}", " ") for cell in row.cells] for row in made.rows]
        assert cells[0] == [each.replace("\N{NO-BREAK SPACE}", " ") for each in shown.columns]
        for written_row, row in zip(cells[1:], shown.itertuples(index=False), strict=True):
            assert written_row[1:] == [each.replace("\N{NO-BREAK SPACE}", " ") for each in row[1:]]


def test_a_table_repeats_its_head_keeps_its_rows_whole_and_says_what_it_is(written):
    _, file = written
    for made in file.tables:
        assert made.rows[0]._tr.xpath("w:trPr/w:tblHeader")
        assert all(row._tr.xpath("w:trPr/w:cantSplit") for row in made.rows)
        assert made._tbl.tblPr.xpath("w:tblDescription/@w:val")[0]


def test_a_figure_has_its_alternative_text(written):
    text, file = written
    described = file.element.body.xpath(".//wp:docPr/@descr")
    assert len(described) == (1 if text.series.figure_for_print() else 0)
    assert all(
        each == " ".join(chart(text.series).alt.split()).replace(" %", "\N{NO-BREAK SPACE}%") for each in described
    )


def test_a_document_has_no_field_no_link_and_no_date(written):
    _, file = written
    assert not file.element.body.xpath(".//w:hyperlink | .//w:fldSimple | .//w:instrText")
    assert not [each for each in file.part.rels.values() if each.is_external]
    assert (file.core_properties.author, file.core_properties.created.year) == ("", 2000)


def test_all_documents_have_the_same_bytes_on_a_second_run(tmp_path):
    folders = tmp_path / "one", tmp_path / "two"
    names = [save_documents(abstract(series("", 4)), each).names for each in folders]
    assert names[0] == names[1] == (f"{NAME}.docx", f"{NAME}.xlsx")
    for name in names[0]:
        assert (folders[0] / name).read_bytes() == (folders[1] / name).read_bytes(), name


def test_without_a_folder_nothing_is_written_and_that_is_said():
    assert "No documents were asked for" in str(save_documents(abstract(series("", 4)), ""))


@pytest.mark.slow
def test_five_patients_get_a_figure_beside_the_document_and_nobody_gets_a_document_alone(tmp_path):
    five = save_documents(abstract(series("", 5)), tmp_path).names
    assert five[2:] == tuple(f"{NAME}_figure_1.{kind}" for kind in ("pdf", "svg", "tiff", "png"))
    nobody = abstract(case_series(first_patients(0)))
    assert f"{NAME}.docx" in save_documents(nobody, tmp_path / "nobody").names


def test_a_percent_sign_is_written_in_one_style_throughout():
    tight = docx.Document(
        io.BytesIO(document(abstract(series("", 7)), style=PrintStyle(percent_space=False, font="Arial")))
    )
    texts = [each.text for each in tight.paragraphs] + [
        cell.text for made in tight.tables for row in made.rows for cell in row.cells
    ]
    assert not any(re.search(r"\d\s%", each) for each in texts)
    assert any(re.search(r"\d%", each) for each in texts)
    assert tight.styles["Normal"].font.name == "Arial"


@pytest.mark.parametrize("kind", ["docx", "xlsx", "csv", "png", "tiff", "tif", "svg", "pdf"])
def test_a_result_is_written_as_the_kind_its_name_ends_in(tmp_path, kind):
    path = save_as(series().results["time"], tmp_path / f"time.{kind}", width_mm=85, dpi=72)
    starts = {"docx": b"PK", "xlsx": b"PK", "csv": b"\xef\xbb\xbf", "png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}
    assert path.read_bytes().startswith(starts.get(kind, b"II*"))


@pytest.mark.slow
def test_a_case_series_or_its_abstract_is_written_whole(tmp_path):
    made = series("", 7)
    one, two = (save_as(each, tmp_path / f"{place}.docx") for place, each in enumerate((made, abstract(made))))
    assert one.read_bytes() == two.read_bytes() == document(abstract(made))
    assert openpyxl.load_workbook(save_as(made, tmp_path / "x.xlsx")).sheetnames == ["methods", *made.results]
    assert save_as(made, tmp_path / "x.svg").stat().st_size
    for name, each in (("x.csv", made), ("x.png", series("", 4))):
        with pytest.raises(ChoiceError):
            save_as(each, tmp_path / name)


def test_what_cannot_be_written_is_refused_in_words(tmp_path):
    result = series().results["flow"]
    for name, match in (("x.doc", "kind of file"), ("x.png", "has no figure")):
        with pytest.raises(ChoiceError, match=match):
            save_as(result, tmp_path / name)
    with pytest.raises(ReportError, match="cannot be written"):
        save_as(result, tmp_path / "no" / "such" / "x.csv")
    for options in ({"width_mm": 5}, {"dpi": 1}, {"font": "<b>"}):
        with pytest.raises(ChoiceError):
            save_as(series().results["time"], tmp_path / "x.png", **options)


def test_hostile_text_stays_text_in_a_docx(tmp_path):
    path = save_as(hostile(), tmp_path / "x.docx")
    file = docx.Document(path)
    assert not file.element.body.xpath(".//w:hyperlink | .//w:fldSimple | .//w:instrText | .//w:fldChar")
    texts = [cell.text for row in file.tables[0].rows for cell in row.cells]
    assert "<script>alert(1)</script>" in texts and "[U+202E]gnp.exe[U+2066][U+200F]" in texts
    assert not re.search("[\u202a-\u202e\u2066-\u2069\x00\x1b]", "".join(texts))
    with zipfile.ZipFile(path) as held:
        assert b"<w:instrText>" not in held.read("word/document.xml")


def test_hostile_text_stays_text_in_a_workbook(tmp_path):
    path = save_as(hostile(), tmp_path / "x.xlsx")
    book = openpyxl.load_workbook(path)
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    assert not any(cell.hyperlink for cell in cells)
    assert HOSTILE[0] in [cell.value for cell in cells]
    assert not any(re.search("[\u202a-\u202e\u2066-\u2069]", str(cell.value)) for cell in cells)
    with zipfile.ZipFile(path) as held:
        assert not any(b"<f>" in held.read(name) or b"<hyperlink" in held.read(name) for name in held.namelist())


def test_hostile_text_stays_text_in_csv_html_and_markdown(tmp_path):
    lines = save_as(hostile(), tmp_path / "x.csv").read_text(encoding="utf-8-sig")
    assert not re.search(r'(^|[,\n])"?[=+@]', lines)
    page = table(hostile()).html + hostile()._repr_html_()
    assert "<script" not in page and "\u202e" not in page and "\u202e" not in table(hostile()).markdown
