"""Every figure of generated registries against an oracle that knows the csv files and the written rules only.

The oracle beside this file imports nothing but the standard library. Here 40 registries are compared, in some seconds;
300 of them, in a minute or two, with

    NECROSTATS_ORACLE=300 .venv/bin/python -m pytest tests/oracle/test_against_the_oracle.py

and others with `NECROSTATS_ORACLE_FROM=300` as well. Seeds 0 to 299 (3 to 300 patients) were run on 27 November 2026:
no difference. Where events crowd in few patients the limits per 100 patient-days are only checked to be no narrower
than Garwood's. Of yields the counts are compared, and the geometric mean where every amount is exact; not their limits.
"""

from __future__ import annotations

import ast
import os
import sys
from pathlib import Path

import pytest

from oracle.comparing import differences
from oracle.harsh import harsh_registry, write

NUMBER = int(os.environ.get("NECROSTATS_ORACLE", "40"))
FIRST = int(os.environ.get("NECROSTATS_ORACLE_FROM", "0"))
ALWAYS = 10
SEEDS = [pytest.param(seed, marks=[pytest.mark.slow] * (seed >= ALWAYS)) for seed in range(FIRST, FIRST + NUMBER)]


@pytest.mark.parametrize("seed", SEEDS)
def test_every_figure_of_a_harsh_registry_is_the_oracle_s(seed, tmp_path):
    assert differences(write(tmp_path / "unit", harsh_registry(seed))) == []


ORACLE = ("tables", "limits", "courses", "incidence", "events", "yields", "harsh")


@pytest.mark.parametrize("module", ORACLE)
def test_the_oracle_imports_the_standard_library_only(module):
    tree = ast.parse((Path(__file__).parent / f"{module}.py").read_text(encoding="utf-8"))
    named = [each.module for each in ast.walk(tree) if isinstance(each, ast.ImportFrom)]
    named += [name.name for each in ast.walk(tree) if isinstance(each, ast.Import) for name in each.names]
    assert {name.split(".")[0] for name in named} <= {*sys.stdlib_module_names, "oracle"}
