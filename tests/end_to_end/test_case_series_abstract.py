from __future__ import annotations

import io
import re
import subprocess
import sys
import zipfile

import pandas as pd
import pytest

import necrostats
from builders.html import parsed, problems
from builders.series import first_patients
from necrostats import bundled
from necrostats.present.documents import NAME
from necrostats.registry.codebook import TABLES
from necrostats.registry.tables import registry_from

HOSTILE = '=HYPERLINK("http://x")<script>alert(1)</script>\u202e{{7*7}}&lt;b&gt;]]>'
KEPT = 12


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    """The first patients of the invented registry as a tidy folder."""
    folder = tmp_path_factory.mktemp("twelve")
    tidy = bundled.synthetic_registry() / "tidy"
    patients = pd.read_csv(tidy / "patients.csv", dtype=str).iloc[:KEPT]
    sessions = pd.read_csv(tidy / "sessions.csv", dtype=str)
    sessions = sessions[sessions["patient_id"].isin(patients["patient_id"])]
    for name in TABLES:
        frame = pd.read_csv(tidy / f"{name}.csv", dtype=str)
        key = "patient_id" if "patient_id" in frame else "session_id"
        kept = frame[frame[key].isin((patients if key == "patient_id" else sessions)[key])]
        kept.to_csv(folder / f"{name}.csv", index=False)
    return folder


@pytest.fixture(scope="module")
def written(source, tmp_path_factory):
    folder = tmp_path_factory.mktemp("out")
    request = ["report", "case_series_abstract", str(source), "--out", str(folder), "--documents"]
    ran = subprocess.run(
        [sys.executable, "-m", "necrostats.cli", *request, "--param", "by=sex"], capture_output=True, text=True
    )
    assert (ran.returncode, ran.stdout) == (0, ""), ran.stderr
    return folder


@pytest.mark.slow
def test_one_page_and_the_documents_beside_it_are_written(written):
    figures = [f"{NAME}_figure_1.{kind}" for kind in ("pdf", "png", "svg", "tiff")]
    assert sorted(path.name for path in written.iterdir()) == sorted(
        [f"{NAME}.{kind}" for kind in ("docx", "html", "xlsx")] + figures
    )


@pytest.mark.slow
def test_the_page_opens_offline_runs_nothing_and_shows_the_small_numbers_at_work(written):
    page = (written / f"{NAME}.html").read_text(encoding="utf-8")
    assert problems(page) == []
    said = parsed(page).text
    assert "Case series from a registry: 12 patients" in said and "The series is small" in said
    assert "Not shown (differences): too few patients for it (12)." in said
    assert str(written) not in page


@pytest.mark.slow
def test_the_documents_are_the_same_bytes_as_in_a_process_of_its_own(written, source, tmp_path):
    text = necrostats.abstract(necrostats.case_series(necrostats.read_registry(source), by="sex"))
    for name in necrostats.save_documents(text, tmp_path).names:
        assert (tmp_path / name).read_bytes() == (written / name).read_bytes(), name


@pytest.mark.slow
def test_the_draft_it_wrote_agrees_with_the_results_and_is_stale_once_a_day_is_corrected(written, source, tmp_path):
    registry = necrostats.read_registry(source)
    draft = written / f"{NAME}.docx"
    assert necrostats.check_draft(draft, necrostats.case_series(registry, by="sex")).findings == ()
    changed = registry.patients.assign(last_contact_day=registry.patients["last_contact_day"] - 1)
    later = registry_from({**registry.tables, "patients": changed})
    assert necrostats.check_draft(draft, necrostats.case_series(later, by="sex")).stale is True


def test_a_template_without_documents_refuses_to_write_them(source, tmp_path):
    with pytest.raises(necrostats.NecrostatsError, match="registry_check writes no documents"):
        necrostats.write_report("registry_check", source, folder=tmp_path, documents=True)


def test_hostile_text_in_every_text_field_and_id_reaches_no_document(tmp_path):
    registry = first_patients(KEPT)
    tables = {}
    for name, table in TABLES.items():
        frame = registry.tables[name].copy()
        for column in table.all_columns:
            if column.kind in ("text", "id", "ids"):
                frame[column.name] = [HOSTILE + str(each) for each in frame[column.name].astype(object)]
        tables[name] = frame
    text = necrostats.abstract(necrostats.case_series(registry_from(tables)))
    pages = [text._repr_html_(), necrostats.reviewer_questions(text.series)._repr_html_(), text.markdown]
    for name in necrostats.save_documents(text, tmp_path).names:
        content = (tmp_path / name).read_bytes()
        if zipfile.is_zipfile(io.BytesIO(content)):
            with zipfile.ZipFile(io.BytesIO(content)) as held:
                pages += [held.read(each).decode("utf-8", "replace") for each in held.namelist()]
        else:
            pages.append(content.decode("latin-1"))
    assert not [page for page in pages if re.search("alert|HYPERLINK\\(|7\\*7|\u202e", page)]
