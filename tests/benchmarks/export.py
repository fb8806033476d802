"""Print how long exports take to be read and tidied, beside pandas on the same csv file.

python tests/benchmarks/export.py [--rows 1000000] [--keep FOLDER]

A csv of invented session rows is read once by pandas as text, read once by its layout, and tidied once (read again
and written with its ledger); then a workbook of 300 patients with 1,200 sessions is tidied. Each is one run in a
process of its own, so that its peak memory is its own. Nothing here is a test.
"""

from __future__ import annotations

import argparse
import csv
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from timing import peak_memory, say

SESSIONS_EACH = 4
HEADINGS = ("Study", "Age", "Sex", "Date", "Type", "Tools", "Yield", "Texture", "Compl")
LAYOUT = """
format = 1
[dates]
order = "day_first"
data_lock = 2026-09-30
[fill]
"patients.vital_status" = "alive"
"patients.last_contact_day" = "last_record"
[[sheet]]
patient = "Study"
[[sheet.rows]]
table = "patients"
columns = { "Age" = "age_years", "Sex" = "sex" }
[[sheet.rows]]
table = "sessions"
index = "first_drainage"
[sheet.rows.columns]
"Date" = "day"
"Type" = "session_type"
"Tools" = "instruments"
"Yield" = { to = "yield", unit = "ml" }
"Texture" = "texture"
"Compl" = "event"
"""


def main() -> None:
    """Make the files, then run every measurement."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rows", type=int, default=1_000_000, help="session rows of the csv file")
    asked.add_argument("--keep", type=Path, help="folder for the files; the csv is used again if it is there")
    asked.add_argument("--one", nargs=2, metavar=("WHAT", "FOLDER"), help="used by the program itself")
    given = asked.parse_args()
    if given.one:
        measured(given.one[0], Path(given.one[1]))
        return
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        make(folder, given.rows)
        took = {what: in_its_own_process(what, folder) for what in ("pandas", "read", "tidy", "workbook")}
    for what, name in (("read", "read by the layout"), ("tidy", "tidied, with the ledger")):
        times = (f"{took[what][kind] / took['pandas'][kind]:.1f} x by {kind} time" for kind in ("clock", "processor"))
        say(f"{name} / pandas", ", ".join(times))


def make(folder: Path, rows: int) -> None:
    """The csv file, the workbook and their layout."""
    (folder / "layout.toml").write_text(LAYOUT, encoding="utf-8")
    path = folder / str(rows) / "sessions.csv"
    path.parent.mkdir(exist_ok=True)
    if not path.exists():
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(lines(rows))
    (folder / "newest").write_text(str(rows), encoding="utf-8")
    import xlsxwriter

    with xlsxwriter.Workbook(folder / "workbook.xlsx") as book:
        sheet = book.add_worksheet("DEN")
        for number, line in enumerate(lines(300 * SESSIONS_EACH)):
            sheet.write_row(number, 0, line)


def lines(rows: int, seed: int = 1) -> Iterator[Sequence[str]]:
    """The headings, then so many invented sessions, four a patient."""
    rng = np.random.default_rng(seed)
    yield HEADINGS
    for patient in range(-(-rows // SESSIONS_EACH)):
        start = date(2023, 1, 1) + timedelta(days=int(rng.integers(1000)))
        who = f"S{patient + 1}", str(rng.integers(20, 90)), "MF"[rng.integers(2)]
        for number in range(min(SESSIONS_EACH, rows - patient * SESSIONS_EACH)):
            day = start + timedelta(days=7 * number)
            yield (
                *who,
                day.strftime("%d/%m/%Y"),
                "DEN" if number else "drainage",
                ("snare", "net", "snare + net", "")[rng.integers(4)],
                f"{rng.integers(10, 900)} ml" if number else "",
                ("soft", "tough", "")[rng.integers(3)],
                ("nil", "nil", "bled", "")[rng.integers(4)],
            )


def in_its_own_process(what: str, folder: Path) -> dict[str, float]:
    """Seconds by the clock and of the processor, as the process itself took them; it prints its own line."""
    command = [sys.executable, __file__, "--one", what, str(folder)]
    ran = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    told, clock, processor = ran.stdout.rsplit("\n", 3)[:3]
    print(told, flush=True)
    return {"clock": float(clock), "processor": float(processor)}


def measured(what: str, folder: Path) -> None:
    """One measurement: a line for a person, then the seconds by the clock and of the processor, a line each."""
    import pandas as pd

    from necrostats.registry.export.loading import read_with_layout
    from necrostats.registry.export.tidying import tidy

    rows, layout = (folder / "newest").read_text(encoding="utf-8"), folder / "layout.toml"
    table, name = folder / rows / "sessions.csv", f"{int(rows):,} session rows (csv)"
    runs = {
        "pandas": lambda: pd.read_csv(table, dtype=str),
        "read": lambda: read_with_layout(table, layout, say=_progress),
        "tidy": lambda: tidy(table, layout, folder / "tidied", say=_progress),
        "workbook": lambda: tidy(folder / "workbook.xlsx", layout, folder / "tidied-workbook"),
    }
    names = {
        "pandas": f"{name}: pandas.read_csv(dtype=str)",
        "read": f"{name}: read by its layout",
        "tidy": f"{name}: tidied, with the ledger",
        "workbook": "300 patients, 1,200 sessions (xlsx): tidied",
    }
    start, worked = time.perf_counter(), time.process_time()
    runs[what]()
    clock, processor = time.perf_counter() - start, time.process_time() - worked
    say(names[what], f"{clock:.2f} s, processor {processor:.2f} s, peak memory {peak_memory():,.0f} MB")
    print(clock, processor, sep="\n")


def _progress(line: str) -> None:
    print(f"  {line}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
