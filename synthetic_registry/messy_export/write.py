"""Write the messy workbook and its truth: python synthetic_registry/messy_export/write.py --to FOLDER."""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
if str(HOME) not in sys.path:
    sys.path.insert(0, str(HOME))

from messy_export.mess import make  # noqa: E402
from messy_export.truth import write_truth  # noqa: E402
from messy_export.unit import read_unit  # noqa: E402
from messy_export.workbook import write_workbook  # noqa: E402

SEED = 20260930
SINCE = "2024Q3"
EXPORT = HOME / "export"


def write(folder: Path, *, seed: int = SEED, since: str = SINCE, until: str = "2026Q3") -> int:
    """Write unit_export.xlsx, truth.csv and layout.toml; the number of patients. Same arguments, same bytes."""
    folder.mkdir(parents=True, exist_ok=True)
    mess = make(read_unit(HOME / "tidy", since=since, until=until), seed=seed)
    write_workbook(folder / "unit_export.xlsx", mess.grids)
    write_truth(folder / "truth.csv", mess.grids)
    layout = folder / "layout.toml"
    if layout.resolve() != (EXPORT / "layout.toml").resolve():
        shutil.copyfile(EXPORT / "layout.toml", layout)
    return mess.patients


def main(given: list[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(prog="write.py", description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED, help=f"a whole number from 0 up (default {SEED})")
    parser.add_argument("--since", default=SINCE, help=f"first quarter of index drainages (default {SINCE})")
    parser.add_argument("--until", default="2026Q3", help="last quarter (default 2026Q3)")
    parser.add_argument(
        "--to", type=Path, default=EXPORT, help="folder to write to (default: synthetic_registry/export)"
    )
    arguments = parser.parse_args(given)
    if arguments.seed < 0:
        parser.error("--seed starts at 0.")
    patients = write(arguments.to, seed=arguments.seed, since=arguments.since, until=arguments.until)
    print(f"{patients} patients in {arguments.to / 'unit_export.xlsx'}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
