"""How often a quarter is called a signal where nothing rose, and where it did, by brute force and by enumeration.

`cd tests && python -m simulations.quarter_verdicts` writes two tables beside this file. quarter_verdicts.csv: 500
invented units of the generator, with and without the rise of bleeding in 2025Q3, judged in that quarter and in the one
a year before. false_alarms.csv: the chance of a false alarm a quarter by enumeration, for quarters of 8, 14 and 40
sessions.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from necrostats import bundled, read_registry
from necrostats.measures import quarter_verdicts
from necrostats.stats.control_charts import false_alarm_rate
from simulations.tables import write

UNITS, PATIENTS = 500, 142
RAISED, STEADY = "2025Q3", "2024Q3"
SHARES, SIZES = (0.02, 0.05, 0.12, 0.2), (8, 14, 40)
TABLE = Path(__file__).with_suffix(".csv")
ALARMS = TABLE.with_name("false_alarms.csv")


@dataclass(frozen=True, kw_only=True)
class Row:
    """A quarter of units with or without a rise: in how many of them it was a signal."""

    rise: str
    quarter: str
    units: int
    signals: int


@dataclass(frozen=True, kw_only=True)
class Alarm:
    """A steady share, the sessions of a quarter, and the chance that they give a signal."""

    share: float
    sessions: int
    false_alarms: float


def unit(seed: int, folder: Path, *, rise: bool):
    """An invented unit, with its rise of bleeding or with none."""
    sys.path.insert(0, str(bundled.synthetic_registry()))
    from invented_unit.calendar import calendar_of
    from invented_unit.parameters import Parameters
    from invented_unit.unit import live, record, seeds_for
    from invented_unit.writing import Writer

    parameters = Parameters() if rise else Parameters(bleeding_odds_ratio=1.0)
    calendar = calendar_of(parameters)
    writer = Writer(folder, PATIENTS, calendar.labels)
    for size, child in seeds_for(PATIENTS, seed):
        writer.append(record(live(size, child, parameters, calendar)))
    return read_registry(folder)


def signals(seed: int, *, rise: bool) -> dict[str, bool]:
    """Whether bleeding is a signal in each of the two quarters of a unit."""
    with tempfile.TemporaryDirectory() as folder:
        registry = unit(seed, Path(folder), rise=rise)
    judged = {
        each: quarter_verdicts(registry, period=each, indicators=["bleeding"]).judged() for each in (RAISED, STEADY)
    }
    return {quarter: bool((rows["verdict"] == "signal").any()) for quarter, rows in judged.items()}


def simulate(*, rise: bool, units: int = UNITS) -> Iterator[Row]:
    """Both quarters over so many units."""
    each = [signals(1_000 + seed, rise=rise) for seed in range(units)]
    for quarter in (RAISED, STEADY):
        yield Row(
            rise="yes" if rise else "no",
            quarter=quarter,
            units=units,
            signals=sum(found[quarter] for found in each),
        )


def enumerated() -> Iterator[Alarm]:
    """False alarms of the exact limits, of a share that is known."""
    for share in SHARES:
        for size in SIZES:
            yield Alarm(share=share, sessions=size, false_alarms=round(false_alarm_rate(share, size), 6))


def main() -> None:
    """Write both tables."""
    write(ALARMS, enumerated(), Alarm)
    write(TABLE, (row for rise in (True, False) for row in simulate(rise=rise)), Row)


if __name__ == "__main__":
    main()
