"""Move each edge of a rule by one and run the tests that stand on it: every mutant must be killed.

Run by hand: `.venv/bin/python tests/mutations/edges.py` (a minute or two). It works on a copy and changes nothing here;
it prints a line a mutant and exits with 1 if one survives or its line is not found.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

TOP = Path(__file__).parents[2]
MUTANTS = (
    ("definitions/outcomes", "(day <= horizon)", "(day < horizon)", "definitions/test_outcomes.py"),
    ("definitions/outcomes", "2 * ends - _goes_first", "2 * ends + _goes_first", "definitions/test_outcomes.py"),
    ("definitions/outcomes", "(last_seen >= horizon)", "(last_seen > horizon)", "measures/test_resolution.py"),
    ("definitions/outcomes", "~ended & ~unseen & (last_seen", "~ended & (last_seen", "definitions/test_outcomes.py"),
    ("definitions/outcomes", " | _between(treated, at, after)", "", "definitions/test_outcomes.py"),
    (
        "measures/event_follow_up",
        "(first_lack[EARLY] | (inside & after))",
        "(inside & after)",
        "measures/test_adverse_events.py",
    ),
    (
        "definitions/groups",
        "(quadrants == 1) & (solid > 60) & (infected",
        "(quadrants == 1) & (solid >= 60) & (infected",
        "definitions/test_groups.py",
    ),
    (
        "measures/session_counts",
        "last_assessed(registry, ends) > last_session",
        "last_assessed(registry, ends) >= last_session",
        "measures/test_session_counts.py",
    ),
    (
        "measures/adverse_events",
        "min(robust.low, exact.low), max(robust.high, exact.high)",
        "robust.low, robust.high",
        "measures/test_adverse_events.py",
    ),
    ("measures/curves", "(total < EXACT_BELOW)", "(total <= EXACT_BELOW)", "measures/test_curves.py"),
    (
        "measures/curves",
        "counts.censored.cumsum(axis=-1) > counts.censored",
        "counts.censored.cumsum(axis=-1) > 0",
        "measures/test_curves.py",
    ),
    ("stats/rates", "k.max() > CROWDED_ABOVE", "k.max() >= CROWDED_ABOVE", "stats/test_rates.py"),
    (
        "stats/comparisons/two_shares",
        "total <= BOSCHLOO_UP_TO",
        "total < BOSCHLOO_UP_TO",
        "stats/comparisons/test_two_shares.py",
    ),
    ("present/numbers", "n >= ONE_DECIMAL_FROM", "n > ONE_DECIMAL_FROM", "present/test_numbers.py"),
    ("measures/abstract", "0 < n < FEWEST_FOR_COUNTS", "0 < n <= FEWEST_FOR_COUNTS", "measures/test_abstract.py"),
    ("measures/abstract", "    if n < FEWEST_FOR_CURVES", "    if n <= FEWEST_FOR_CURVES", "measures/test_abstract.py"),
    ("measures/abstract", "n >= FEWEST_FOR_MODELS", "n > FEWEST_FOR_MODELS", "measures/test_abstract.py"),
    ("measures/abstract", "sizes >= FEWEST_FOR_CURVES", "sizes > FEWEST_FOR_CURVES", "measures/test_abstract.py"),
    ("measures/course_ends", ">= ends.horizon", "> ends.horizon", "measures/test_course_ends.py"),
    ("measures/case_mix", ">= FEWEST_FOR_A_DIFFERENCE", "> FEWEST_FOR_A_DIFFERENCE", "measures/test_case_mix.py"),
    (
        "present/case_series_sentences",
        "rows[0].at_risk >= FEWEST_AT_RISK",
        "rows[0].at_risk > FEWEST_AT_RISK",
        "present/test_case_series_texts.py",
    ),
    (
        "present/case_series_sentences",
        "left > MOST_UNCHECKED",
        "left >= MOST_UNCHECKED",
        "present/test_case_series_texts.py",
    ),
    ("registry/checking_days", "(day > lock[owner])", "(day >= lock[owner])", "registry/test_checking_days.py"),
    (
        "measures/yield_contrasts",
        "self.some >= FEWEST_SESSIONS and",
        "self.some > FEWEST_SESSIONS and",
        "measures/test_yield_comparison.py",
    ),
    (
        "measures/yield_contrasts",
        "self.some_patients >= FEWEST_PATIENTS",
        "self.some_patients > FEWEST_PATIENTS",
        "measures/test_yield_comparison.py",
    ),
    (
        "measures/yield_contrasts",
        "(both < FEWEST_PATIENTS)",
        "(both <= FEWEST_PATIENTS)",
        "measures/test_yield_comparison.py",
    ),
    (
        "measures/yield_models",
        "rows.low.size < FEWEST_ROWS_A_TERM * terms",
        "rows.low.size <= FEWEST_ROWS_A_TERM * terms",
        "measures/test_yield_models.py",
    ),
    ("measures/yield_models", "(scanned > day)", "(scanned >= day)", "measures/test_yield_models.py"),
    (
        "measures/yield_words",
        "here.sum() >= FEWEST_SESSIONS",
        "here.sum() > FEWEST_SESSIONS",
        "measures/test_yield_words.py",
    ),
)


def is_killed(copy: Path, module: str, line: str, mutant: str, tests: str) -> bool:
    """Whether the tests fail once `line` of a module reads `mutant`; ValueError if the module has no such line."""
    file = copy / "necrostats" / f"{module}.py"
    written = file.read_text(encoding="utf-8")
    if line not in written:
        raise ValueError(f"{module}: no line reads {line!r}")
    file.write_text(written.replace(line, mutant), encoding="utf-8")
    try:
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", f"tests/{tests}"]
        run = subprocess.run(command, cwd=copy, env={**os.environ, "PYTHONPATH": str(copy)}, capture_output=True)
    finally:
        file.write_text(written, encoding="utf-8")
    return run.returncode == 1


def main() -> int:
    """Run every mutant; the number that survived, at most 1."""
    survived = 0
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        shutil.copytree(TOP, copy, ignore=shutil.ignore_patterns(".venv", ".git", "__pycache__"))
        for mutant in MUTANTS:
            killed = is_killed(copy, *mutant)
            survived += not killed
            print(f"{'killed  ' if killed else 'SURVIVED'}  {mutant[0]}: {mutant[1]}  →  {mutant[2]}", flush=True)
    print(f"{len(MUTANTS) - survived} of {len(MUTANTS)} killed")
    return min(survived, 1)


if __name__ == "__main__":
    sys.exit(main())
