"""Print how fast necrostats is, and how much memory it takes, in one run.

python tests/benchmarks/run.py [--patients 200 10000 1000000] [--keep FOLDER]

Nothing here is a test: the numbers depend on the machine and are printed for a person to read.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np
import time_to_event
from intervals import intervals as million_intervals
from timing import best, say

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]


def main() -> None:
    """Run every benchmark and print a line for each figure."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--patients", type=int, nargs="+", default=[200, 10_000, 1_000_000])
    arguments.add_argument("--keep", type=Path, help="folder for generated registries, reused if they are there")
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep or Path(scratch)
        intervals()
        million_intervals()
        curves()
        time_to_event.all_of_them()
        command_line(Path(scratch))
        for patients in given.patients:
            registry(folder, patients)


def intervals() -> None:
    """Clopper–Pearson, one call for many."""
    from necrostats.stats.proportions import clopper_pearson

    rng = np.random.default_rng(1)
    n = rng.integers(1, 500, 100_000)
    k = rng.binomial(n, 0.1)
    say("100,000 Clopper–Pearson intervals (target < 0.3 s)", f"{best(lambda: clopper_pearson(k, n)):.3f} s")


def curves() -> None:
    """Aalen–Johansen with its error beside a single counting pass and two libraries."""
    from necrostats.stats.incidence import aalen_johansen

    rng = np.random.default_rng(2)
    days = rng.integers(0, 366, 1_000_000)
    cause = rng.integers(0, 4, days.size)
    counting = best(lambda: np.bincount(days))
    ours = best(lambda: aalen_johansen(days, cause, causes=("a", "b", "c")))
    say("one np.bincount pass over 1,000,000 whole days", f"{counting * 1000:.2f} ms")
    say(
        "Aalen–Johansen, 3 causes with errors and limits, 1,000,000 subjects (target 5 ×)",
        f"{ours * 1000:.1f} ms = {ours / counting:.1f} × one pass",
    )
    few = slice(0, 20_000)
    others = {"lifelines": _lifelines, "statsmodels": _statsmodels}
    here = best(lambda: aalen_johansen(days[few], cause[few], causes=("a", "b", "c")))
    for name, run in others.items():
        there = best(lambda run=run: run(days[few], cause[few]), times=1)
        figure = f"{there:.3f} s, ours {here:.5f} s = {there / here:,.0f} × faster"
        say(f"the same on 20,000 subjects with {name}", figure)


def _lifelines(days: np.ndarray, cause: np.ndarray) -> None:
    from lifelines import AalenJohansenFitter

    with warnings.catch_warnings(), np.errstate():
        warnings.simplefilter("ignore")
        for each in (1, 2, 3):
            AalenJohansenFitter(calculate_variance=True, seed=1).fit(days, cause, event_of_interest=each)


def _statsmodels(days: np.ndarray, cause: np.ndarray) -> None:
    from statsmodels.duration.survfunc import CumIncidenceRight

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        CumIncidenceRight(np.maximum(days, 1), cause)


def command_line(scratch: Path) -> None:
    """Help, and a report beside an empty notebook with the same imports through the same runner."""
    help_text = best(lambda: _run("-m", "necrostats.cli", "--help"))
    say("necrostats --help (target < 0.3 s)", f"{help_text:.3f} s")
    tidy = str(ROOT / "synthetic_registry" / "tidy")
    report = best(lambda: _report("quarterly_review", tidy, scratch / "full"), times=3)
    empty = best(lambda: _report(str(_empty_notebook(scratch)), tidy, scratch / "empty"), times=3)
    say("quarterly review of the synthetic registry, wall time", f"{report:.2f} s")
    say("an empty notebook with the same imports, same runner", f"{empty:.2f} s")
    say("ratio (target ≤ 1.6)", f"{report / empty:.2f}")


def _report(template: str, source: str, out: Path) -> None:
    _run("-m", "necrostats.cli", "report", template, source, "--period", "2026Q3", "--out", str(out))


def _empty_notebook(scratch: Path) -> Path:
    """The quarterly review with its parameters and imports, and nothing after them."""
    import nbformat

    notebook = nbformat.read(ROOT / "notebooks" / "quarterly_review.ipynb", as_version=4)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    imports = [cell for cell in code if "import" in cell.source][:1]
    parameters = [cell for cell in code if "parameters" in cell.metadata.get("tags", [])]
    notebook.cells = [*parameters, *(cell for cell in imports if cell not in parameters)]
    path = scratch / "empty.ipynb"
    nbformat.write(notebook, path)
    return path


def _run(*arguments: str) -> str:
    done = subprocess.run([sys.executable, *arguments], capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(arguments)} failed:\n{done.stderr}")
    return done.stdout


def registry(folder: Path, patients: int) -> None:
    """Check and all measures on an invented registry of a given size, each in a process of its own."""
    source = folder / f"patients_{patients}"
    if not (source / "patients.csv").exists():
        start = time.perf_counter()
        generate = str(ROOT / "synthetic_registry" / "generate.py")
        _run(generate, "--patients", str(patients), "--seed", "1", "--to", str(source))
        say(f"{patients:,} patients: generating them", f"{time.perf_counter() - start:.1f} s")
    print(_run(str(HERE / "one_registry.py"), str(source), f"{patients:,} patients"), end="", flush=True)


if __name__ == "__main__":
    main()
