"""Every figure of generated registries against an oracle that knows the csv files and the written rules only.

The oracle beside this file imports nothing but the standard library. Here 40 registries are compared; for another number,
from another seed, `NECROSTATS_ORACLE=300 NECROSTATS_ORACLE_FROM=0` before the command.
"""

from __future__ import annotations

import os

import pytest
from oracle.comparing import differences
from oracle.harsh import harsh_registry, write

NUMBER = int(os.environ.get("NECROSTATS_ORACLE", "40"))
FIRST = int(os.environ.get("NECROSTATS_ORACLE_FROM", "0"))


@pytest.mark.parametrize("seed", range(FIRST, FIRST + NUMBER))
def test_every_figure_of_a_harsh_registry_is_the_oracle_s(seed, tmp_path):
    assert differences(write(tmp_path / "unit", harsh_registry(seed))) == []
