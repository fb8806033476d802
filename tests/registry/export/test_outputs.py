"""The files that tidying writes."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from builders.exports import read_wide, wide_line
from necrostats.registry.export.ledger import ledger_of
from necrostats.registry.export.outputs import Outputs


@pytest.fixture
def read(tmp_path):
    return read_wide(tmp_path, wide_line("1", DEN1_date=date(2024, 3, 8), DEN1_tools="snare"))


def quiet(line: str) -> None:
    assert line


def test_no_file_is_there_before_all_is_whole_and_then_all_are(tmp_path, read):
    folder = tmp_path / "tidy"
    with Outputs(folder, quiet) as outputs:
        outputs.add(read)
        assert not [each for each in folder.iterdir() if not each.name.startswith(".")]
        files = outputs.finish(read.registry.findings, read.registry.set_aside, {})
    assert sorted(each.name for each in folder.iterdir()) == sorted(each.name for each in files)
    sessions = pd.read_csv(folder / "sessions.csv", dtype=str, keep_default_na=False)
    assert sessions["day"].tolist() == ["0", "7"] and "day_latest" not in sessions
    assert len(pd.read_csv(folder / "ledger.csv")) == len(ledger_of(read))


def test_stretches_stand_one_below_the_other(tmp_path, read):
    with Outputs(tmp_path / "tidy", quiet) as outputs:
        outputs.add(read)
        outputs.add(read)
        outputs.finish(read.registry.findings, read.registry.set_aside, {})
    assert pd.read_csv(tmp_path / "tidy" / "patients.csv")["patient_id"].tolist() == ["P0001", "P0001"]


def test_what_is_not_finished_leaves_nothing_behind_and_what_was_there_stays(tmp_path, read):
    made, old = tmp_path / "made", tmp_path / "old"
    old.mkdir()
    (old / "patients.csv").write_text("patient_id\nP9\n")
    for folder in (made, old):
        with pytest.raises(RuntimeError), Outputs(folder, quiet) as outputs:
            outputs.add(read)
            raise RuntimeError
    assert not made.exists()
    assert [each.name for each in old.iterdir()] == ["patients.csv"]
    assert (old / "patients.csv").read_text() == "patient_id\nP9\n"


def test_the_key_of_private_periods_lies_beside_the_folder(tmp_path, read):
    with Outputs(tmp_path / "tidy", quiet) as outputs:
        outputs.add(read)
        files = outputs.finish(read.registry.findings, read.registry.set_aside, {"2024Q1": "P01"})
    assert files[-1] == tmp_path / "tidy-private-period-key.csv"
    assert files[-1].read_text() == "quarter,period\n2024Q1,P01\n"
