"""How often the interval of a ratio of yields holds the true one, in generated units.

`cd tests && python -m simulations.yield_coverage` writes yield_coverage.csv beside this file. Each unit is an invented
registry of so many patients by synthetic_registry/generate.py with a seed of its own, in which powered debriders truly
remove 1.6 times what any other class does, are used late, and in tougher material; its yields hold ranges, "<50" and
">500". A unit in which fewer than 3 patients had both classes has no comparison within patients.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

from necrostats.measures import compare_yield
from necrostats.registry.loading import read_registry
from simulations.tables import Cell, Limits, cells, stacked, write

FIRST_SEED = 50_000
PATIENTS_OF_A_UNIT = 142
UNITS = {PATIENTS_OF_A_UNIT: 1000, 3 * PATIENTS_OF_A_UNIT: 300}  # patients of a unit → how many units
TRUTH = 1.6
PAIR = {"reference": "snare", "primary": "powered_debrider"}
TABLE = Path(__file__).with_suffix(".csv")
GENERATOR = Path(__file__).resolve().parents[2] / "synthetic_registry"


def unit(place: int, patients: int) -> dict[str, Limits]:
    """The limits of one generated unit, by kind of model."""
    if str(GENERATOR) not in sys.path:
        sys.path.insert(0, str(GENERATOR))
    from generate import generate

    with tempfile.TemporaryDirectory() as folder:
        generate(Path(folder), patients=patients, seed=FIRST_SEED + place)
        registry = read_registry(folder)
    table = compare_yield(registry, **PAIR).frame
    rows = table[table["primary"] & table["measure"].astype(str).str.startswith("ratio")]
    return {
        str(row.measure).partition(", ")[2]: Limits(truth=TRUTH, low=[row.low], high=[row.high])
        for row in rows.itertuples()
    }


def simulate(patients: int, places: Iterable[int]) -> list[Cell]:
    """Coverage of every kind of model over these units."""
    return cells(patients, [stacked(unit(place, patients) for place in places)])


def main() -> None:
    """Write the table."""
    write(TABLE, (cell for patients, units in UNITS.items() for cell in simulate(patients, range(units))))


if __name__ == "__main__":
    main()
