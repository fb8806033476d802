"""Write the invented registry: python synthetic_registry/generate.py --patients 142 --seed 129 --to FOLDER."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
if str(HERE) not in sys.path:
    sys.path.insert(0, str(HERE))

from invented_unit.calendar import calendar_of  # noqa: E402
from invented_unit.parameters import Parameters  # noqa: E402
from invented_unit.unit import live, record, seeds_for  # noqa: E402
from invented_unit.writing import Writer  # noqa: E402

PATIENTS = 142
SEED = 129


def generate(folder: Path, *, patients: int = PATIENTS, seed: int = SEED) -> None:
    """Write the nine tables of an invented registry as csv: same arguments, same bytes."""
    parameters = Parameters()
    calendar = calendar_of(parameters)
    writer = Writer(folder, patients, calendar.labels)
    for size, child in seeds_for(patients, seed):
        writer.append(record(live(size, child, parameters, calendar)))


def _arguments(given: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="generate.py", description=__doc__)
    parser.add_argument("--patients", type=int, default=PATIENTS, help=f"how many (default {PATIENTS})")
    parser.add_argument("--seed", type=int, default=SEED, help=f"a whole number from 0 up (default {SEED})")
    parser.add_argument("--to", type=Path, help="folder for the nine csv files")
    parser.add_argument("--truth", type=Path, help="file for the true values (takes up to three minutes)")
    arguments = parser.parse_args(given)
    if arguments.patients < 1 or arguments.seed < 0:
        parser.error("--patients starts at 1 and --seed at 0.")
    if arguments.to is None and arguments.truth is None:
        parser.error("say where to write: --to FOLDER for the tables, --truth FILE for the true values.")
    return arguments


def main(given: list[str] | None = None) -> int:
    """Run from the command line."""
    arguments = _arguments(given)
    if arguments.to is not None:
        generate(arguments.to, patients=arguments.patients, seed=arguments.seed)
    if arguments.truth is not None:
        from invented_unit.truth import true_values

        text = json.dumps(true_values(Parameters()), indent=2, ensure_ascii=False)
        arguments.truth.write_bytes((text + "\n").encode())
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
