"""Necrosectomies by the class used in them and by what was written of their yield, from METHODS §5 and the codebook."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import dataclass, field

from oracle.courses import NECROSECTOMIES
from oracle.tables import Row, of_each

ADJUNCTS = ("lavage", "peroxide")
UNCOMPARED = ("other", "unknown")


@dataclass
class Cell:
    """One class in one unit: how many amounts, of how many patients, how many of them nothing at all."""

    n: int = 0
    nothing: int = 0
    patients: set[str] = field(default_factory=set)
    logs: list[float] | None = field(default_factory=list)


@dataclass(frozen=True)
class Yields:
    """Cells by (class, unit); sessions without an amount by class; how many were left out, by reason."""

    cells: dict[tuple[str, str], Cell]
    missing: Counter[str]
    left_out: Counter[str]


def yields(tables: dict[str, list[Row]]) -> Yields:
    """Count each necrosectomy once: with an amount, or left out for the first reason that holds."""
    uses = of_each(tables["instrument_uses"], "session_id")
    cells: dict[tuple[str, str], Cell] = defaultdict(Cell)
    missing: Counter[str] = Counter()
    left_out: Counter[str] = Counter()
    for session in tables["sessions"]:
        if session["session_type"] not in NECROSECTOMIES:
            continue
        own = uses.get(session["session_id"], [])
        reason, name = _class(own)
        amount = None if reason else _amount(session, [row for row in own if row["instrument_class"] == name])
        if reason is None:
            reason = _why_it_does_not_count(session, amount)
            missing[name] += amount is None or _says_nothing(amount)
        if reason:
            left_out[reason] += 1
        else:
            _enter(cells[name, amount[2]], session["patient_id"], amount)
    return Yields(cells, missing, left_out)


def answerable(tables: dict[str, list[Row]]) -> bool:
    """Whether the unit records at all what was used, and what came out."""
    rows = [*tables["sessions"], *tables["instrument_uses"]]
    told = any(row["yield_low"] is not None or row.get("yield_words") is not None for row in rows)
    return bool(tables["instrument_uses"]) and told


def _class(uses: list[Row]) -> tuple[str | None, str]:
    classes = {row["instrument_class"] for row in uses} - {*ADJUNCTS}
    if not uses:
        return "necrosectomies without a recorded instrument class", ""
    if not classes:
        return "necrosectomies with lavage or another adjunct alone", ""
    if classes & {*UNCOMPARED}:
        return "necrosectomies with an instrument of class other or unknown", ""
    if len(classes) > 1:
        return "necrosectomies with more than one instrument class", ""
    return None, classes.pop()


def _amount(session: Row, uses: list[Row]) -> tuple[float, float | None, str] | None:
    """Low, high and unit: of the instrument's use where it has one, else of the session."""
    return _numbers(uses[0]) or _numbers(session)


def _numbers(row: Row) -> tuple[float, float | None, str] | None:
    if row["yield_low"] is None or row["yield_unit"] is None:
        return None
    return float(row["yield_low"]), None if row["yield_high"] is None else float(row["yield_high"]), row["yield_unit"]


def _why_it_does_not_count(session: Row, amount: tuple[float, float | None, str] | None) -> str | None:
    if amount is None and session["yield_words"] is not None:
        return "necrosectomies with a yield in words only"
    if amount is None:
        return "necrosectomies without a yield"
    if session["yield_includes_lavage"] == "yes":
        return "necrosectomies whose yield includes lavage fluid"
    return 'necrosectomies with a yield of "more than 0"' if _says_nothing(amount) else None


def _says_nothing(amount: tuple[float, float | None, str]) -> bool:
    """Whether it says nothing but "more than 0"."""
    low, high, _ = amount
    return low == 0 and high is None


def _enter(cell: Cell, patient: str, amount: tuple[float, float | None, str]) -> None:
    low, high, _ = amount
    cell.n += 1
    cell.patients.add(patient)
    if low == high == 0:
        cell.nothing += 1
    elif low != high:
        cell.logs = None
    elif cell.logs is not None:
        cell.logs.append(math.log(low))
