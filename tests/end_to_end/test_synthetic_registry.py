"""The invented registry: same bytes again, clean, and true to its truth.json."""

from __future__ import annotations

import csv
import json
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.stats import beta

from necrostats.bundled import synthetic_registry
from necrostats.registry.codebook import TABLES
from necrostats.registry.loading import read_registry

HOME = synthetic_registry()
TIDY = HOME / "tidy"
SURGERY = ("surgical_necrosectomy", "minimally_invasive_necrosectomy")


def run(script: Path, folder: Path, *arguments: str, cwd: Path) -> None:
    command = [sys.executable, str(script), "--to", str(folder), *arguments]
    subprocess.run(command, check=True, cwd=cwd, capture_output=True)


def rows(folder: Path, table: str) -> list[dict[str, str]]:
    with (folder / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def truth() -> dict:
    return json.loads((HOME / "truth.json").read_text(encoding="utf-8"))


@pytest.fixture
def unit(monkeypatch) -> ModuleType:
    """The generator's own modules, as generate.py sees them."""
    monkeypatch.syspath_prepend(str(HOME))
    import invented_unit.unit

    return invented_unit.unit


@pytest.fixture
def many(unit):
    """A chunk of 40,000 patients, another seed than truth.json's: everything true, and what is recorded."""
    from invented_unit.calendar import calendar_of
    from invented_unit.parameters import Parameters

    parameters = Parameters()
    lives = unit.live(40_000, np.random.SeedSequence(8), parameters, calendar_of(parameters))
    return lives, unit.record(lives)


def test_generating_again_gives_the_committed_bytes(tmp_path):
    run(HOME / "generate.py", tmp_path, cwd=HOME.parent)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(f"{name}.csv" for name in TABLES)
    for path in tmp_path.iterdir():
        assert path.read_bytes() == (TIDY / path.name).read_bytes(), path.name


def test_a_copy_elsewhere_runs_from_any_folder_and_another_seed_gives_another_registry(tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(HOME, copy, ignore=shutil.ignore_patterns("tidy", "__pycache__"))
    run(copy / "generate.py", tmp_path / "same", "--patients", "142", "--seed", "129", cwd=tmp_path)
    run(copy / "generate.py", tmp_path / "other", "--patients", "142", "--seed", "130", cwd=tmp_path)
    committed = (TIDY / "sessions.csv").read_bytes()
    assert (tmp_path / "same" / "sessions.csv").read_bytes() == committed
    assert (tmp_path / "other" / "sessions.csv").read_bytes() != committed


def test_a_line_ends_in_one_line_feed_and_no_cell_needs_quotes():
    for path in TIDY.glob("*.csv"):
        text = path.read_bytes()
        assert b"\r" not in text and b'"' not in text and text.endswith(b"\n") and not text.endswith(b"\n\n")


def test_chunks_run_on_without_a_gap_or_a_repeated_id(unit, monkeypatch, tmp_path):
    monkeypatch.setattr(unit, "CHUNK", 100)
    from generate import generate

    generate(tmp_path, patients=250, seed=1)
    assert [row["patient_id"] for row in rows(tmp_path, "patients")] == [f"P{n:04d}" for n in range(1, 251)]
    sessions = [row["session_id"] for row in rows(tmp_path, "sessions")]
    assert sessions == [f"S{n:05d}" for n in range(1, len(sessions) + 1)]
    owner = {row["session_id"]: row["patient_id"] for row in rows(tmp_path, "sessions")}
    named = [row for row in rows(tmp_path, "adverse_events") if row["session_id"]]
    assert named and all(owner[row["session_id"]] == row["patient_id"] for row in named)


@pytest.mark.parametrize("table", TABLES)
def test_columns_stand_in_the_order_of_the_codebook_and_every_code_is_on_its_list(table):
    listed = rows(TIDY, table)
    names = [name for name in listed[0] if name != "onset_day_latest"]
    assert names == list(TABLES[table].names)
    for column in TABLES[table].columns:
        values = {row[column.name] for row in listed}
        assert not column.required or "" not in values, column.name
        if column.kind == "code":
            assert values - {""} <= set(column.codes), column.name
        if column.kind == "yes_no":
            assert values <= {"yes", "no", ""}, column.name


def test_few_codes_are_never_used():
    unused = {
        f"{table.name}.{column.name} {code}"
        for table in TABLES.values()
        for column in table.columns
        if column.kind == "code"
        for code in set(column.codes) - {row[column.name] for row in rows(TIDY, table.name)}
    }
    assert unused == {
        "patients.sex other",
        "patients.aetiology other",
        "sessions.yield_words none",
        "instrument_uses.yield_unit percent_cleared",
        "adverse_events.event_type peroxide",
        "adverse_events.event_type other",
        "adverse_events.clavien_grade IVb",
        "other_interventions.kind surgical_necrosectomy",
    }


def test_nothing_happens_after_the_last_contact():
    last = {row["patient_id"]: int(row["last_contact_day"]) for row in rows(TIDY, "patients")}
    days = [
        (row["patient_id"], int(row[column]))
        for table, column in (
            ("sessions", "day"),
            ("scans", "day"),
            ("reviews", "day"),
            ("adverse_events", "day"),
            ("other_interventions", "day"),
            ("stents", "placed_day"),
            ("stents", "removed_day"),
        )
        for row in rows(TIDY, table)
        if row[column]
    ]
    assert len(days) > 2000
    assert all(day <= last[patient] for patient, day in days)


def test_nothing_stops_and_what_asks_or_is_noted_is_what_the_readme_says():
    registry = read_registry(TIDY)
    found = registry.findings.groupby(["severity", "table", "column"]).size().to_dict()
    assert found == {
        ("asks", "patients", "onset_day"): 2,
        ("asks", "sessions", "session_id"): 2,
        ("asks", "sessions", "peroxide_percent"): 1,
        ("asks", "sessions", "yield_unit"): 1,
        ("asks", "instrument_uses", "yield_unit"): 1,
        ("notes", "stents", "stent_id"): 2,
    }
    assert len(registry.set_aside) == 0
    assert registry.source.rows_kept == registry.source.rows_read
    assert registry.periods[0] == "2023Q1" and registry.periods[-1] == "2026Q3"
    assert len(registry.patients) == 142 and len(registry.sessions) == 561


def test_the_readme_counts_what_is_there():
    text = (HOME / "README.md").read_text(encoding="utf-8")
    for table, noun in (
        ("patients", "patients"),
        ("collections", "collections"),
        ("sessions", "sessions"),
        ("instrument_uses", "uses of instruments"),
        ("stents", "stents"),
        ("scans", "scans"),
        ("reviews", "reviews"),
        ("adverse_events", "adverse events"),
        ("other_interventions", "other interventions"),
    ):
        assert f" {len(rows(TIDY, table))} {noun}" in text


def test_bleeding_in_2025q3_stands_out_from_the_true_ordinary_rate():
    sessions = {row["session_id"]: row for row in rows(TIDY, "sessions")}
    events = [row for row in rows(TIDY, "adverse_events") if row["event_type"] == "bleeding" and row["session_id"]]
    bled = {row["session_id"] for row in events}
    quarter = [name for name, row in sessions.items() if row["period"] == "2025Q3"]
    looked = [name for name in quarter if sessions[name]["events_checked"] == "yes" or name in bled]
    k, n = sum(name in bled for name in looked), len(looked)
    ordinary = truth()["adverse_events"]["rates"]["sessions followed by bleeding, ordinary quarters"]
    assert (k, n) == (8, 38)
    assert beta.ppf(0.025, k, n - k + 1) > ordinary["as recorded"]["value"]


def test_truth_json_prints_the_parameters_of_the_generator_and_says_it_is_invented(unit):
    from invented_unit.parameters import Parameters

    assert truth()["parameters"] == json.loads(json.dumps(Parameters().as_json()))
    assert "no real patient, no real hospital" in truth()["about"]
    assert "no real patient, no real hospital" in (HOME / "README.md").read_text(encoding="utf-8")


def test_a_mix_of_shares_adds_up_to_one(unit):
    mixes = {name: value for name, value in truth()["parameters"].items() if isinstance(value, dict)}
    del mixes["yield_by_texture"]
    assert len(mixes) >= 6
    assert all(sum(shares.values()) == pytest.approx(1.0) for shares in mixes.values())


def test_a_short_simulation_with_another_seed_agrees_with_truth_json(unit):
    from invented_unit.parameters import Parameters
    from invented_unit.truth import true_values

    long, short = truth(), true_values(Parameters(), patients=40_000, seed=5)
    pairs = list(_values(long, short))
    assert len(pairs) > 150
    far = [path for path, a, b in pairs if abs(a["value"] - b["value"]) > 5 * np.hypot(a["error"], b["error"]) + 1e-6]
    assert far == []


def _values(long: dict, short: dict, path: str = ""):
    """Every value with an error in both; shares too near 0 for 40,000 patients are left out."""
    for name, each in long.items():
        if not isinstance(each, dict) or name == "parameters":
            continue
        if "error" in each:
            if each["value"] * 40_000 > 50:
                yield f"{path}/{name}", each, short[name]
        else:
            yield from _values(each, short[name], f"{path}/{name}")


def test_documented_resolution_found_in_the_tables_is_the_one_that_was_drawn(many):
    lives, recorded = many
    course, scans, reviews = lives.course, recorded["scans"], recorded["reviews"]
    free = reviews["symptom_free"] == 1
    small_day = _first_confirmed(scans, reviews["patient_id"][free], reviews["day"][free], len(course))
    drawn = np.where(course.seen_resolved <= course.censored, course.seen_resolved, 10**6)
    assert (drawn < 10**6).sum() > 25_000
    np.testing.assert_array_equal(small_day, drawn)


def _first_confirmed(scans, review_patient, review_day, n: int) -> np.ndarray:
    """First day on which every scanned collection is 30 mm or less, a symptom-free review within 30 days."""
    after = scans["day"] > 0
    key = scans["patient_id"][after] * 10_000 + scans["day"][after]
    visits, place = np.unique(key, return_inverse=True)
    largest = np.zeros(len(visits), dtype=np.int64)
    np.maximum.at(largest, place, scans["long_mm"][after])
    small = visits[largest <= 30]
    reviewed = np.sort(review_patient * 10_000 + review_day)
    near = np.searchsorted(reviewed, small + 30, side="right") > np.searchsorted(reviewed, small - 30, side="left")
    first = np.full(n, 10**6)
    np.minimum.at(first, small[near] // 10_000, small[near] % 10_000)
    return first


def test_incidence_by_day_in_the_censored_registry_is_the_uncensored_truth(many):
    """Aalen–Johansen written out by hand; 4 standard errors of a proportion in 40,000 patients with censoring."""
    lives, recorded = many
    course, other = lives.course, recorded["other_interventions"]
    from invented_unit.patients import KINDS

    assert {KINDS[kind] for kind in np.unique(other["kind"])} >= {*SURGERY, "percutaneous_drain"}
    ends = np.stack([course.seen_resolved, course.death, course.surgery, course.drain])
    day = np.minimum(ends.min(axis=0), course.censored)
    cause = np.where(ends.min(axis=0) <= course.censored, ends.argmin(axis=0), -1)
    at_risk = np.bincount(day)[::-1].cumsum()[::-1]
    events = np.stack([np.bincount(day[cause == each], minlength=len(at_risk)) for each in range(4)])
    hazard = events / at_risk
    free = np.append(1.0, np.cumprod(1 - hazard.sum(axis=0)))[:-1]
    incidence = np.cumsum(free * hazard[0])
    for limit, value in truth()["resolution"]["by_day"]["documented"]["resolved"].items():
        error = np.sqrt(value["value"] * (1 - value["value"]) / 40_000)
        assert incidence[int(limit)] == pytest.approx(value["value"], abs=5 * error), limit


def test_the_powered_debrider_removes_more_and_resolves_no_more(many):
    from invented_unit.debridement import CLASSES

    lives, recorded = many
    sessions = recorded["sessions"]
    mine = sessions["one_class"] & (sessions["true_ml"] > 0)
    powered = (sessions["classes"][:, 0] == CLASSES.index("powered_debrider")).astype(float)
    columns = [powered, sessions["number"] - 1.0] + [sessions["texture_met"] == each for each in (0, 2, 3)]
    design = np.column_stack([np.ones(mine.sum()), *(column[mine] for column in columns)])
    fitted = np.linalg.lstsq(design, np.log(sessions["true_ml"][mine]), rcond=None)[0]
    assert np.exp(fitted[1]) == pytest.approx(1.6, rel=0.025)
    assert np.exp(fitted[2]) == pytest.approx(0.7, rel=0.02)
    seen = lives.course.seen_resolved[sessions["patient_id"]]
    enough = (seen < 10_000) & (seen - sessions["day"] < sessions["to_next"])
    for number in (1, 2, 3):
        at = sessions["one_class"] & (sessions["number"] == number)
        late = at & (sessions["period"] >= 8)
        shares = [enough[late & (powered == each)] for each in (0.0, 1.0)]
        assert 0.1 < shares[0].mean() < 0.9
        spread = np.sqrt(sum(share.var() / len(share) for share in shares))
        assert abs(shares[0].mean() - shares[1].mean()) < 4 * spread


def test_a_request_that_makes_no_sense_is_refused_in_one_line(tmp_path):
    command = [sys.executable, str(HOME / "generate.py"), "--patients", "0", "--to", str(tmp_path / "x")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "--patients starts at 1" in done.stderr
    assert not (tmp_path / "x").exists()
