"""Change one line of a rule or a formula at a time, in a copy, and see whether the tests notice: every mutant must die.

Run by hand: `.venv/bin/python tests/mutations/run.py` (some fifteen minutes); with words after it only the mutants
with one of them in their rule or their lines. The mutants stand in `mutants.toml`: what the rule is, the text before
and after, and the tests that should notice. The text is looked for in the whole package and must be there exactly
once, so that a module may move. A full run writes `table.md`. Exit status 1 if a mutant survives; ValueError where
its text is gone, its tests are gone, or they fail without it.
"""

from __future__ import annotations

import multiprocessing
import os
import shutil
import sys
import tempfile
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
TOP = HERE.parents[1]
LONGEST = 1800
ENDED = 100  # added to what pytest says, so that a process that broke is told from tests that failed
PASSED, FAILED = ENDED, ENDED + 1
LOADED_ONCE = ["numpy", "pandas", "scipy.stats", "scipy.optimize", "openpyxl"]


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """A rule in words, its text before and after, and the tests that should notice, from the folder of tests."""

    rule: str
    before: str
    after: str
    tests: tuple[str, ...]


def mutants(asked: Sequence[str] = ()) -> list[Mutant]:
    """Those of the list with one of the words in their rule or their texts; all without words."""
    listed = tomllib.loads((HERE / "mutants.toml").read_text(encoding="utf-8"))["mutant"]
    every = [Mutant(**{**each, "tests": tuple(each["tests"])}) for each in listed]
    return [each for each in every if not asked or any(word in f"{each.rule} {each.before}" for word in asked)]


def home(package: Path, mutant: Mutant) -> Path:
    """The one module with the text of a mutant; ValueError if there is none, or it stands in more than one place."""
    files = sorted(package.rglob("*.py"))
    found = [file for file in files for _ in range(file.read_text(encoding="utf-8").count(mutant.before))]
    if len(found) != 1:
        places = ", ".join(str(file.relative_to(package)) for file in found) or "nowhere"
        raise ValueError(f"{mutant.rule}: {mutant.before!r} must stand in one place, and stands in {places}.")
    return found[0]


def run_tests(copy: Path, tests: Sequence[str]) -> None:
    """End this process as pytest ends on these tests in the copy, and print nothing."""
    with Path(os.devnull).open("w", encoding="utf-8") as nowhere:
        for stream in (sys.stdout, sys.stderr):
            os.dup2(nowhere.fileno(), stream.fileno())
    os.chdir(copy)
    sys.path.insert(0, str(copy))
    os.environ["PYTHONPATH"] = str(copy)
    sys.dont_write_bytecode = True
    import pytest

    sys.exit(ENDED + pytest.main(["-x", "-p", "no:cacheprovider", *(f"tests/{each}" for each in tests)]))


def tested(copy: Path, tests: Sequence[str]) -> int:
    """How pytest ends on these tests in the copy; FAILED also where it does not end.

    Each run is a process of its own; where the system can, it begins with the libraries loaded.
    """
    ways = multiprocessing.get_all_start_methods()
    start = multiprocessing.get_context("forkserver" if "forkserver" in ways else "spawn")
    if "forkserver" in ways:
        start.set_forkserver_preload(LOADED_ONCE)
    run = start.Process(target=run_tests, args=(copy, tests))
    run.start()
    run.join(LONGEST)
    if run.exitcode is None:
        run.kill()
        run.join()
        return FAILED
    return run.exitcode


def is_killed(copy: Path, mutant: Mutant) -> bool:
    """Whether the tests fail once the text reads as the mutant says."""
    file = home(copy / "necrostats", mutant)
    written = file.read_text(encoding="utf-8")
    file.write_text(written.replace(mutant.before, mutant.after), encoding="utf-8")
    try:
        ended = tested(copy, mutant.tests)
    finally:
        file.write_text(written, encoding="utf-8")
    if ended not in (PASSED, FAILED):
        raise ValueError(f"{mutant.rule}: pytest ended with {ended}; does {mutant.tests} still exist?")
    return ended == FAILED


def check(copy: Path, chosen: Sequence[Mutant]) -> None:
    """ValueError unless every text stands in one place and the tests pass as things are."""
    for mutant in chosen:
        home(copy / "necrostats", mutant)
    every = sorted({test for mutant in chosen for test in mutant.tests})
    if chosen and (ended := tested(copy, every)) != PASSED:
        raise ValueError(f"Without any mutant the tests must pass; pytest ended with {ended} ({FAILED}: some failed).")


def line(mutant: Mutant, module: str, killed: bool) -> str:
    """A row of the table."""
    texts = (" ".join(text.split()).replace("|", r"\|") for text in (mutant.before, mutant.after))
    before, after = (f"`{text}`" if text else "nothing" for text in texts)
    return f"| {mutant.rule} | {module} | {before} | {after} | {'killed' if killed else '**survived**'} |"


def table(lines: Sequence[str], survived: int) -> str:
    """The page that is kept beside the list."""
    return "\n".join(
        [
            "# Mutants of rules and formulas",
            "",
            f"{len(lines) - survived} of {len(lines)} killed. `run.py` writes this; the tests are in `mutants.toml`.",
            "",
            "| rule | module | before | after | |",
            "|---|---|---|---|---|",
            *lines,
            "",
        ]
    )


def main(asked: Sequence[str]) -> int:
    """Run the mutants; 1 if one survived."""
    chosen, lines, survived = mutants(asked), [], 0
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        shutil.copytree(TOP, copy, ignore=shutil.ignore_patterns(".venv", ".git", "__pycache__"))
        check(copy, chosen)
        for mutant in chosen:
            killed = is_killed(copy, mutant)
            survived += not killed
            module = home(copy / "necrostats", mutant).relative_to(copy / "necrostats").as_posix()
            lines.append(line(mutant, module, killed))
            print(f"{'killed  ' if killed else 'SURVIVED'}  {module}: {mutant.rule}", flush=True)
    print(f"{len(lines) - survived} of {len(lines)} killed")
    if not asked:
        (HERE / "table.md").write_text(table(lines, survived), encoding="utf-8")
    return min(survived, 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
