"""Rules about amounts: yields, volumes, minutes, instruments of one session."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

import numpy as np

from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.drafts import Draft, DraftTable, Flag

YIELDED = ("sessions", "instrument_uses")
SIZED = ("collections", "scans")
SLACK = 1.1


def yields(draft: Draft) -> Iterator[Flag]:
    """A yield runs from low to high, and no more than 100 % is cleared."""
    for name in YIELDED:
        table = draft[name]
        low, high = table.numbers("yield_low"), table.numbers("yield_high")
        percent = table.holds("yield_unit", ["percent_cleared"])
        yield _stopped(table, "YIELD_ORDER", low > high, "yield_high", "is lower than yield_low",
                       "Write the lower number under yield_low. Both are set aside until then.")  # fmt: skip
        yield _stopped(table, "YIELD_ORDER", np.isnan(low) & ~np.isnan(high), "yield_high",
                       "stands without a yield_low", 'Write 0 under yield_low if it means "less than".')  # fmt: skip
        for column, value in (("yield_low", low), ("yield_high", high)):
            at_fault = percent & (value > 100) & ~(low > high)
            if column == "yield_high":
                at_fault &= ~(low > 100)
            yield _stopped(table, "OFF_SCALE", at_fault, column, "is above 100 percent_cleared",
                           "Correct the number or yield_unit.")  # fmt: skip


def _stopped(table: DraftTable, rule: str, broken: np.ndarray, column: str, problem: str, remedy: str) -> Flag:
    return Flag(
        rule=rule, table=table.table.name, at=np.flatnonzero(table.kept & broken), severity="stops", column=column,
        takes="cell", problem=problem, remedy=remedy,
    )  # fmt: skip


def two_primaries(draft: Draft) -> Iterator[Flag]:
    """At most one primary instrument a session: otherwise the flags go, and the uses stay."""
    uses = draft["instrument_uses"]
    session = draft.link("instrument_uses", "session_id")
    primary = uses.kept & uses.yes("is_primary")
    count = np.bincount(session[primary], minlength=1)
    yield _stopped(uses, "TWO_PRIMARIES", primary & (count[session.clip(0, len(count) - 1)] > 1), "is_primary",
                   "marks one of several primary instruments of one session",
                   "Mark one instrument a session. None counts as primary until then.")  # fmt: skip


def mixed_units(draft: Draft) -> Iterator[Flag]:
    """Yields written in more than one unit are never compared with each other."""
    for name in YIELDED:
        units = units_of_yields(draft[name])
        yield mixed_units_flag(name, units, _with_a_unit(draft[name]))


def mixed_units_flag(table: str, units: Mapping[str, int], held: np.ndarray) -> Flag:
    """Rows (mask) whose yields are in so many units; about nothing if there is one unit only."""
    listed = ", ".join(f"{unit} ({count})" for unit, count in sorted(units.items()))
    return Flag(
        rule="MIXED_UNITS",
        table=table,
        at=np.flatnonzero(held) if len(units) > 1 else np.empty(0, np.int64),
        severity="asks",
        column="yield_unit",
        once=True,
        problem=f"yields are written in several units: {listed}",
        remedy="Nothing is converted or pooled: each unit is reported by itself.",
    )


def units_of_yields(table: DraftTable) -> Counter[str]:
    """How many yields of a table are in each unit."""
    cells = table.cells["yield_unit"]
    counts = np.bincount(cells.which[_with_a_unit(table)], minlength=len(cells.values))
    units: Counter[str] = Counter()
    for unit, count in zip(cells.values, counts, strict=True):
        if count:
            units[unit] += int(count)
    return units


def _with_a_unit(table: DraftTable) -> np.ndarray:
    return table.kept & table.known("yield_unit") & table.known("yield_low")


def without_unit(draft: Draft) -> Iterator[Flag]:
    """A yield in numbers without a unit can be counted in none."""
    for name in YIELDED:
        table = draft[name]
        bare = table.kept & table.known("yield_low") & ~table.known("yield_unit")
        yield Flag(
            rule="NO_UNIT",
            table=name,
            at=np.flatnonzero(bare),
            severity="asks",
            column="yield_low",
            problem="is a yield without a yield_unit",
            remedy="Write ml, g or percent_cleared under yield_unit. The number is kept, and counts in no unit.",
        )


def volumes(draft: Draft) -> Iterator[Flag]:
    """A volume far from that of an ellipsoid with the axes given."""
    for name in SIZED:
        table = draft[name]
        axes = (table.numbers(axis) for axis in ("long_mm", "mid_mm", "short_mm"))
        ellipsoid = np.pi / 6 * np.prod(list(axes), axis=0) / 1000
        volume = table.numbers("volume_ml")
        far = (volume < 0.5 * ellipsoid) | (volume > 2 * ellipsoid)
        at = np.flatnonzero(table.kept & far)
        says = [f"ml is far from the {ml:.0f} ml that the three axes make" for ml in ellipsoid[at]]
        yield Flag(
            rule="VOLUME_AND_AXES",
            table=name,
            at=at,
            severity="asks",
            column="volume_ml",
            problem=np.array(says, dtype=object),
            remedy="Are the axes in mm and the volume in ml? Both are kept as they stand.",
        )


def minutes(draft: Draft) -> Iterator[Flag]:
    """The instruments of a session used for longer than the session took."""
    uses, sessions = draft["instrument_uses"], draft["sessions"]
    session, each = draft.link("instrument_uses", "session_id"), uses.numbers("minutes")
    rows = uses.kept & (session >= 0) & ~np.isnan(each)
    total = np.bincount(session[rows], weights=each[rows], minlength=len(sessions))
    at = np.flatnonzero(sessions.kept & (total > SLACK * sessions.numbers("minutes_total")))
    says = [f"minutes is less than the {sum_:g} minutes of its instruments" for sum_ in total[at]]
    yield Flag(
        rule="MINUTES_OF_USES",
        table="sessions",
        at=at,
        severity="asks",
        column="minutes_total",
        problem=np.array(says, dtype=object),
        remedy="Correct one of them. Both are kept.",
    )


def no_instrument(draft: Draft) -> Iterator[Flag]:
    """A necrosectomy for which no instrument is written."""
    uses, sessions = draft["instrument_uses"], draft["sessions"]
    if not uses.given:
        return
    session = draft.link("instrument_uses", "session_id")
    named = np.bincount(session[session >= 0], minlength=len(sessions)) > 0
    yield Flag(
        rule="NO_INSTRUMENT",
        table="sessions",
        at=np.flatnonzero(sessions.kept & sessions.holds("session_type", NECROSECTOMIES) & ~named),
        severity="asks",
        column="session_id",
        problem="is a necrosectomy that names no instrument",
        remedy="Add its instruments to instrument_uses; one row with unknown, if nobody knows.",
    )
