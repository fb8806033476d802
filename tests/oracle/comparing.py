"""Set each figure of necrostats beside the oracle's, and say in words where they differ."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import necrostats
from oracle import courses as ends
from oracle import events as of_events
from oracle import yields as of_yields
from oracle.events import ANY, Events, Watched
from oracle.incidence import incidence
from oracle.limits import clopper_pearson, garwood, korn_graubard
from oracle.tables import read

TOLERANCE = 1e-9
DAY_CAUSES = (ends.RESOLVED, ends.DEATH, ends.SURGICAL, ends.DRAIN)


def differences(folder: Path) -> list[str]:
    """What differs, one line a number; an empty list where every figure agrees."""
    tables = read(folder)
    registry = necrostats.read_registry(folder)
    found = [f"set aside: {len(registry.set_aside)} rows"] if len(registry.set_aside) else []
    courses = ends.courses(tables)
    found += _ends(necrostats.course_ends(registry), courses)
    found += _deaths(necrostats.deaths(registry), courses)
    found += _counts(necrostats.necrosectomies_a_patient(registry), courses)
    asked = (
        (necrostats.sessions_to_resolution, ends.answerable, _sessions, courses),
        (necrostats.time_to_resolution, ends.answerable, _days, courses),
        (necrostats.adverse_event_rates, of_events.answerable, _events, of_events.events(tables)),
        (necrostats.debridement_yield, of_yields.answerable, _yields, of_yields.yields(tables)),
    )
    for measure, answerable, compare, expected in asked:
        result = measure(registry)
        answered = not isinstance(result, necrostats.Unanswered)
        found += _differ(f"{measure.__name__} is answered", answered, answerable(tables))
        found += compare(result, expected) if answered else []
    return found


def _differ(where: str, got: object, expected: object) -> Iterator[str]:
    """A line if two numbers, or two sets of counts, are not the same."""
    if isinstance(expected, float):
        both_absent = math.isnan(float(got)) and math.isnan(expected)
        same = both_absent or math.isclose(float(got), expected, rel_tol=TOLERANCE, abs_tol=TOLERANCE)
    else:
        same = got == expected
    if not same:
        yield f"{where}: necrostats {got}, oracle {expected}"


def _curve(name: str, frame, axis: str, pairs: list[tuple[int, str]], causes: tuple[str, ...]) -> Iterator[str]:
    yield from _differ(f"{name}, causes", [*dict.fromkeys(frame["cause"])], [*causes])
    for cause in causes:
        rows = frame[frame["cause"] == cause]
        times = rows[axis].astype(int).tolist()
        if pairs:
            reached = {time for time, _ in pairs if axis == "days" or time <= max(times, default=0)}
            yield from _differ(f"{name}, {cause}: times missing", reached - {*times}, set())
        expected = incidence(pairs, cause, times)
        for row in rows.itertuples():
            time = int(getattr(row, axis))
            for column in ("at_risk", "events", "censored", "estimate", "low", "high"):
                where = f"{name}, {cause} at {time}, {column}"
                yield from _differ(where, getattr(row, column), getattr(expected[time], column))


def _sessions(result, courses: list[ends.Course]) -> Iterator[str]:
    kept = [each for each in courses if each.sessions is not None]
    pairs = [(each.sessions, each.session_end) for each in kept]
    yield from _curve("sessions", result.frame, "sessions", pairs, (*DAY_CAUSES, ends.UNRESOLVED))
    yield from _differ("sessions, patients", result.population.patients, len(kept))
    reason = "patients with no scan or review after the index drainage"
    yield from _left_out("sessions", result, {reason: len(courses) - len(kept)})


def _days(result, courses: list[ends.Course]) -> Iterator[str]:
    yield from _curve("days", result.frame, "days", [(each.day, each.end) for each in courses], DAY_CAUSES)
    yield from _differ("days, patients", result.population.patients, len(courses))
    yield from _left_out("days", result, {})


def _ends(result, courses: list[ends.Course]) -> Iterator[str]:
    matured = [each for each in courses if each.observed >= ends.HORIZON]
    known = [each for each in matured if each.session_end != ends.LOST]
    for row in result.frame.itertuples():
        events = sum(each.session_end == row.variable for each in known)
        yield from _share(f"ends, {row.variable}", row, events, len(known))
    open_ends = [each for each in matured if each.session_end == ends.LOST]
    unshown = sum(each.day >= ends.HORIZON for each in open_ends)
    left_out = {
        f"patients not yet observed for {ends.HORIZON} days": len(courses) - len(matured),
        f"patients lost to view before day {ends.HORIZON}": len(open_ends) - unshown,
        "patients seen to that day of whom no scan or review shows whether they were resolved": unshown,
    }
    yield from _left_out("ends", result, left_out)


def _deaths(result, courses: list[ends.Course]) -> Iterator[str]:
    yield from _share("deaths", next(result.frame.itertuples()), sum(each.died for each in courses), len(courses))


def _counts(result, courses: list[ends.Course]) -> Iterator[str]:
    expected = Counter(f"with {each.all_necrosectomies}" for each in courses)
    got = {row.level: row.events for row in result.frame.itertuples() if row.events}
    yield from _differ("necrosectomies a patient", got, dict(expected))


def _events(result, expected: Events) -> Iterator[str]:
    for row in result.frame.itertuples():
        where = f"events, {row.variable}, {row.unit}"
        if row.unit == "patients":
            with_event = sum(each.events[row.variable] > 0 for each in expected.watched)
            yield from _share(where, row, with_event, len(expected.watched))
        elif row.unit == "sessions":
            yield from _of_sessions(where, row, expected.watched)
        else:
            yield from _of_days(where, row, expected.watched)
    left_out = {
        "sessions with no record that adverse events were looked for": expected.sessions_left_out,
        "patients with no record that adverse events were looked for": expected.patients_left_out,
        **expected.events_left_out,
    }
    yield from _left_out("events", result, left_out)
    kinds = {kind for each in expected.watched for kind in each.events}
    yield from _differ("events, kinds missing", kinds - {*result.frame["variable"]}, set())
    yield from _differ("events, all kinds", ANY in {*result.frame["variable"]}, True)


def _of_sessions(where: str, row, watched: list[Watched]) -> Iterator[str]:
    pairs = [(each.sessions_with[row.variable], each.sessions) for each in watched]
    events, n = sum(k for k, _ in pairs), sum(m for _, m in pairs)
    yield from _numbers(where, row, events, n, events / n if n else None, korn_graubard(pairs) if n else None)


def _of_days(where: str, row, watched: list[Watched]) -> Iterator[str]:
    """Garwood's limits; where events crowd in few patients no narrower than those."""
    events, days = sum(each.events[row.variable] for each in watched), sum(each.days for each in watched)
    rate = row.per / days if days else None
    limits = tuple(limit * rate for limit in garwood(events)) if rate else None
    crowded = days and _crowded(row.variable, watched, events / days)
    if crowded and limits:
        yield from _differ(f"{where}, low above Garwood", row.low > limits[0] + TOLERANCE, False)
        yield from _differ(f"{where}, high below Garwood", row.high < limits[1] - TOLERANCE, False)
        limits = (float(row.low), float(row.high))
    yield from _numbers(where, row, events, days, events * rate if rate else None, limits)


def _crowded(kind: str, watched: list[Watched], rate: float) -> bool:
    """Pearson dispersion over 1.2 or a patient with more than two."""
    at_risk = [each for each in watched if each.days]
    if rate == 0 or len(at_risk) < 2:
        return any(each.events[kind] > 2 for each in watched)
    square = sum((each.events[kind] - rate * each.days) ** 2 / (rate * each.days) for each in at_risk)
    return square / (len(at_risk) - 1) > 1.2 or any(each.events[kind] > 2 for each in watched)


def _share(where: str, row, events: int, n: int) -> Iterator[str]:
    yield from _numbers(where, row, events, n, events / n if n else None, clopper_pearson(events, n) if n else None)


def _numbers(where: str, row, events, n, estimate: float | None, limits: tuple[float, float] | None) -> Iterator[str]:
    """Counts, and the estimate and limits where there is a denominator."""
    yield from _differ(f"{where}, events", row.events, events)
    yield from _differ(f"{where}, n", row.n, n)
    if estimate is not None and limits is not None:
        yield from _differ(f"{where}, estimate", row.estimate, estimate)
        yield from _differ(f"{where}, low", row.low, limits[0])
        yield from _differ(f"{where}, high", row.high, limits[1])


def _yields(result, expected) -> Iterator[str]:
    seen = set()
    for row in result.frame.itertuples():
        unit = {"yield, ml": "ml", "yield, g": "g"}.get(row.variable, "percent_cleared")
        cell = expected.cells.get((row.group, unit))
        seen.add((row.group, unit))
        where = f"yield, {row.group}, {unit}"
        counts = (cell.n, cell.nothing, len(cell.patients)) if cell else (0, 0, 0)
        yield from _differ(where, (row.n, row.events, row.patients), counts)
        yield from _differ(f"{where}, missing", row.missing, expected.missing[row.group])
        exact = cell and cell.logs and unit != "percent_cleared" and not math.isnan(row.estimate)
        if exact:
            mean = math.exp(math.fsum(cell.logs) / len(cell.logs))
            if not math.isclose(row.estimate, mean, rel_tol=1e-6):
                yield f"{where}, geometric mean: necrostats {row.estimate}, oracle {mean}"
    yield from _differ("yield, cells missing", {*expected.cells} - seen, set())
    yield from _left_out("yield", result, dict(expected.left_out))


def _left_out(name: str, result, expected: dict[str, int]) -> Iterator[str]:
    got = {reason: count for reason, count in result.population.left_out.items() if count}
    yield from _differ(f"{name}, left out", got, {reason: count for reason, count in expected.items() if count})
