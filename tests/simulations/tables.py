"""What the scripts of coverage share: limits and the truth they should hold, counted into the rows of a table."""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import numpy as np

ROUNDING = 1e-9


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One interval at one size: the share of intervals that held the truth, and of series that gave none."""

    patients: int
    figure: str
    truth: float
    coverage: float
    no_limits: float
    intervals: int


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Limits of many series (S,), and the truth they should hold; a limit not reached holds it on its side."""

    truth: float
    low: np.ndarray
    high: np.ndarray

    @property
    def held(self) -> np.ndarray:
        """Yes and no, or NaN where there is no interval."""
        none = np.isnan(self.low) & np.isnan(self.high)
        low, high = np.nan_to_num(self.low, nan=-np.inf), np.nan_to_num(self.high, nan=np.inf)
        return np.where(none, np.nan, (low <= self.truth + ROUNDING) & (self.truth - ROUNDING <= high))


def portions(replicates: int, at_once: int) -> Iterator[int]:
    """How many series to take at a time."""
    for start in range(0, replicates, at_once):
        yield min(at_once, replicates - start)


def cells(patients: int, parts: Iterable[Mapping[str, Limits]]) -> list[Cell]:
    """A row for each figure, over all parts."""
    held: dict[str, list[np.ndarray]] = {}
    truths: dict[str, float] = {}
    for part in parts:
        for figure, limits in part.items():
            held.setdefault(figure, []).append(np.atleast_1d(limits.held))
            truths[figure] = limits.truth
    return [_cell(patients, figure, truths[figure], np.concatenate(each)) for figure, each in held.items()]


def _cell(patients: int, figure: str, truth: float, held: np.ndarray) -> Cell:
    return Cell(
        patients=patients,
        figure=figure,
        truth=round(float(truth), 6),
        coverage=round(float(np.nanmean(held)), 4),
        no_limits=round(float(np.isnan(held).mean()), 4),
        intervals=int(np.count_nonzero(~np.isnan(held))),
    )


def stacked(limits: Iterable[Mapping[str, Limits]]) -> dict[str, Limits]:
    """Limits of one series each as those of many."""
    found: dict[str, list[Limits]] = {}
    for series in limits:
        for figure, each in series.items():
            found.setdefault(figure, []).append(each)
    return {
        figure: Limits(
            truth=each[0].truth, low=np.hstack([one.low for one in each]), high=np.hstack([one.high for one in each])
        )
        for figure, each in found.items()
    }


def write(table: Path, rows: Iterable, kind: type = Cell) -> None:
    """Write the table row by row, with a line of progress each."""
    with table.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [each.name for each in fields(kind)], lineterminator="\n")
        writer.writeheader()
        for row in rows:
            writer.writerow(asdict(row))
            print(row, file=sys.stderr)


def read(table: Path) -> list[dict[str, str]]:
    """The rows of a table as they stand."""
    with table.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def outside(rows: Iterable[Mapping[str, str]], low: float = 0.93, high: float = 0.97) -> dict[tuple[str, str], float]:
    """The cells of a table whose coverage lies outside these bounds, by patients and figure."""
    found = {(row["patients"], row["figure"]): float(row["coverage"]) for row in rows}
    return {cell: coverage for cell, coverage in found.items() if not low <= coverage <= high}


def far(rows: Iterable[Mapping[str, str]], again: Iterable[Cell]) -> list[Cell]:
    """The cells of a short run that lie 4 standard errors or more from the table, or are not in it."""
    listed = {(row["patients"], row["figure"]): float(row["coverage"]) for row in rows}

    def near(cell: Cell) -> bool:
        there = listed.get((str(cell.patients), cell.figure), np.inf)
        return abs(cell.coverage - there) < 4 * np.sqrt(0.05 * 0.95 / max(cell.intervals, 1))

    return [cell for cell in again if not near(cell)]
