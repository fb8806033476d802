"""The committed table of simulated coverage: what it shows, and that the script still gives it."""

from __future__ import annotations

from dataclasses import asdict
from itertools import product

import pytest

from simulations.korn_graubard_coverage import CORRELATIONS, PATIENTS, RATES, REPLICATES, TABLE, simulate
from simulations.tables import read


@pytest.fixture(scope="module")
def table():
    return {(row["correlation"], row["patients"], row["rate"]): row for row in read(TABLE)}


def test_every_setting_is_in_the_table(table):
    assert set(table) == {tuple(map(str, setting)) for setting in product(CORRELATIONS, PATIENTS, RATES)}
    assert {row["replicates"] for row in table.values()} == {str(REPLICATES)}


def test_korn_graubard_covers_94_percent_or_more_in_every_setting(table):
    assert min(float(row["korn_graubard"]) for row in table.values()) >= 0.94


def test_clopper_pearson_falls_below_94_percent_once_sessions_of_a_patient_go_together(table):
    failing = {key for key, row in table.items() if float(row["clopper_pearson"]) < 0.94}
    assert {key[0] for key in failing} == {"0.05", "0.1", "0.15", "0.2"}
    assert all((str(correlation), "100", "0.15") in failing for correlation in CORRELATIONS[1:])


@pytest.mark.simulation
def test_the_script_gives_the_row_again(table):
    row = table["0.15", "15", "0.15"]
    assert {name: str(value) for name, value in asdict(simulate(0.15, 15, 0.15)).items()} == row
