"""Curves in sentences: who had reached what by a day or a session named in advance."""

from __future__ import annotations

import re

import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.present import numbers
from necrostats.present.cells import median_range, spoken_interval
from necrostats.present.numbers import FEWEST_AT_RISK, FEWEST_FOR_A_CURVE, FEWEST_FOR_A_RATE
from necrostats.present.rates import is_event, some_event
from necrostats.present.wording import about, findings, in_order, is_grouped, listed, plain, plural
from necrostats.results import Curves

USUAL_LANDMARK = {"days": 90, "sessions": 3}
FREE = "free of "
ORIGINS = ("index drainage", "documented resolution")
_REACHED = {
    "resolved": "had documented resolution",
    "recurrence": "had a recurrence",
    "still needing more": "still needed more",
    "resolved, mid-point": "had resolved if dated half-way between the two scans",
    "resolved, interval-censored": "had resolved by the interval-censored estimate",
    "not to report: 1 − Kaplan–Meier": "would have resolved by 1 − Kaplan–Meier, which is not to be reported",
}
_FIRST = {
    "death": "died first",
    "surgery": "went to surgery first",
    "percutaneous drain": "had a percutaneous drain first",
    "death or surgery": "died or went to surgery first",
    "death, surgery or percutaneous drain": "died, went to surgery or had a percutaneous drain first",
}
_UNRESOLVED = re.compile(r"(?P<before>.*?)(?: or )?not resolved within (?P<day>\d+) days")
_ONCE = "Each {} counts once, at the first end"


def comes_first(cause: object, main: object) -> bool:
    """Whether a cause is an end that came before resolution."""
    return main == "resolved" and plain(cause) in _FIRST


def counted_once(result: Curves) -> str:
    """That an end is the first one, for a caption; nothing where there are no such ends."""
    ends = [cause for cause in in_order(result.frame["cause"]) if comes_first(cause, main_cause(result))]
    return _ONCE.format(plural(1, result.of)) if ends else ""


def reached(cause: object, main: object = "resolved", of: str = "patients") -> str:
    """The verb of a cause, beside the cause the curve is about: "resolved" → "had documented resolution"."""
    name = plain(cause)
    if comes_first(cause, main):
        return _FIRST[name] if of == "patients" else f"belonged to patients who {_FIRST[name]}"
    if name == "death" and main != "resolved":
        return "had died without it"
    if name.startswith(FREE):
        return f"were {name}"
    if found := _UNRESOLVED.fullmatch(name):
        return _with_the_horizon(found["before"], found["day"])
    return f"had had {some_event(cause)}" if is_event(cause) else _REACHED.get(name, f'had reached "{name}"')


def _with_the_horizon(before: str, day: str) -> str:
    """The verb of being seen unresolved on the horizon day, alone or beside the ends `before` it."""
    ends = [_FIRST[each].removesuffix(" first") for each in before.split(", ") if each]
    return " or ".join(filter(None, [", ".join(ends), f"reached day {day} unresolved"]))


def main_cause(result: Curves) -> object | None:
    """The cause a figure is about: "resolved" if there is one, else the first; None if there is none."""
    causes = in_order(result.frame["cause"])
    return "resolved" if "resolved" in causes else next(iter(causes), None)


def main_landmark(result: Curves, at: int | None = None) -> int | None:
    """The landmark asked for, else the usual one, else the last; None if the result names none."""
    if at is not None and at not in result.landmarks:
        raise unknown_choice("landmark", at, [str(each) for each in result.landmarks])
    usual = USUAL_LANDMARK[result.axis]
    if at is None and usual in result.landmarks:
        return usual
    return at if at is not None else max(result.landmarks, default=None)


def at_start(rows: pd.DataFrame) -> int:
    """How many of a group were ever at risk together: the largest number at risk."""
    return int(rows["at_risk"].max()) if rows["at_risk"].notna().any() else 0


def _opening(result: Curves, at: int) -> str:
    if result.axis == "sessions":
        return f"Within {at} necrosectomy {plural(at, 'sessions')}"
    origin = next((f" of {each}" for each in ORIGINS if f"since {each}" in result.method.estimand), "")
    origin = origin or (" of index drainage" if "index drainage" in result.method.estimand else "")
    if result.falling:
        return f"{at} {plural(at, 'days')} {'from index drainage' if origin else 'on'}"
    return f"Within {at} {plural(at, 'days')}{origin}"


def _first(row, n: int, level: float, main: object, of: str, *, counted: bool) -> str:
    """The share that has reached the main end: of so many where they were counted, an estimate where some were lost."""
    if not numbers.known(row.estimate):
        return f"it cannot be said how many of {n} {of} {reached(row.cause, main, of)}"
    limits = spoken_interval(_limits(row, n), level)
    if counted or row.estimate == 0:
        return f"{_share(row, n, counted=counted)} of {n} {of} ({limits}) {reached(row.cause, main, of)}"
    return f"an estimated {_share(row, n, counted=False)} ({limits}; n = {n} {of}) {reached(row.cause, main, of)}"


def _further(row, n: int, main: object, of: str, *, counted: bool) -> str:
    if not numbers.known(row.estimate):
        return f"it cannot be said how many {reached(row.cause, main, of)}"
    return f"{_share(row, n, counted=counted)} ({_limits(row, n)}) {reached(row.cause, main, of)}"


def _share(row, n: int, *, counted: bool) -> str:
    """A percentage; of fewer than 10 that were all counted, how many."""
    if row.estimate == 0:
        return "none"
    return (
        numbers.count(round(row.estimate * n))
        if counted and n < FEWEST_FOR_A_CURVE
        else numbers.percent(row.estimate, n)
    )


def _limits(row, n: int) -> str:
    limits = numbers.percent_range(row.estimate, row.low, row.high, n)
    return limits if limits == numbers.NO_INTERVAL else f"{limits} %"


def _main_first(rows: pd.DataFrame, main: object) -> list:
    each = list(rows.itertuples())
    return sorted(each, key=lambda row: row.cause != main)


def _still_at_risk(row, axis: str) -> str:
    if not numbers.known(row.at_risk) or row.at_risk >= FEWEST_AT_RISK:
        return ""
    place = "day" if axis == "days" else "session"
    left = f"only {numbers.count(row.at_risk)}" if row.at_risk else "nobody"
    return f" ({left} still at risk just before that {place})"


def _sentence(result: Curves, rows: pd.DataFrame, at: int, n: int) -> str:
    each = _main_first(rows[rows[result.axis] == at], main_cause(result))
    if not each:
        return f"{_opening(result, at)} nothing is known of {n} {result.of}."
    main = main_cause(result)
    counted = not lost_before(result, rows, at)
    further = (_further(row, n, main, result.of, counted=counted) for row in each[1:])
    parts = [_first(each[0], n, result.method.level, main, result.of, counted=counted), *further]
    return f"{_opening(result, at)} {'; '.join(parts)}{_still_at_risk(each[0], result.axis)}."


def lost_before(result: Curves, rows: pd.DataFrame, at: int) -> bool:
    """Whether somebody left view before a point, so that what is known there is an estimate."""
    one = rows[(rows["cause"] == rows["cause"].iloc[0]) & (rows[result.axis] < at)]
    return bool(one["censored"].sum() > 0)


def _last_with_enough(result: Curves, rows: pd.DataFrame, at: int) -> int:
    """The point to speak of: the one asked for, or the last before it with 10 at risk once somebody was lost."""
    if not lost_before(result, rows, at):
        return at
    enough = rows[(rows["at_risk"] >= FEWEST_AT_RISK) & (rows[result.axis] <= at)][result.axis]
    return int(enough.max()) if len(enough) and enough.max() > rows[result.axis].min() else at


def _listing(result: Curves, rows: pd.DataFrame, n: int) -> str:
    """The counts of a group too small for a rate, over all that was observed."""
    counts = rows.groupby("cause", observed=True, sort=False)["events"].sum()
    main = main_cause(result)
    if result.falling:
        left = f"{n - int(counts.sum())} {reached(main)}"
        return f"Of {n} {plural(n, result.of)} {left} while observed; too few for a rate."
    seen = [f"{numbers.count(k)} {reached(cause, main, result.of)}" for cause, k in counts.items() if k > 0]
    of = f"of {n} {plural(n, result.of)}"
    return f"{of.capitalize()} {listed(seen) or 'none had reached an end'} while observed; too few for a rate."


def _median(result: Curves, group: object) -> str:
    medians, main = result.medians, main_cause(result)
    if medians.empty:
        return ""
    found = medians[(medians["group"] == group) & (medians["cause"] == main)]
    if found.empty:
        return ""
    row = next(found.itertuples())
    if not numbers.known(row.estimate):
        return "The median was not reached."
    unit = "necrosectomy sessions" if result.axis == "sessions" else "days"
    limits = spoken_interval(median_range(row.low, row.high), result.method.level)
    return f"The median was {numbers.reached(row.estimate)} {plural(row.estimate, unit)} ({limits})."


def _group(result: Curves, group: object, at: int | None) -> str:
    rows = result.frame[result.frame["group"] == group]
    n = at_start(rows) if len(rows) else 0
    if n == 0:
        return "Nobody was at risk."
    if n < FEWEST_FOR_A_RATE:
        return _listing(result, rows, n)
    last = rows[result.axis].max()
    wanted = last if at is None else at
    spoken = _last_with_enough(result, rows, wanted)
    said = _sentence(result, rows, spoken, n)
    earlier = "" if spoken == wanted else _why_earlier(result, wanted)
    return " ".join(filter(None, [said, earlier, _median(result, group)]))


def _why_earlier(result: Curves, at: int) -> str:
    place = f"day {at}" if result.axis == "days" else f"session {at}"
    return f"At {place} fewer than {FEWEST_AT_RISK} were still at risk: no share is quoted there."


@findings.register(Curves)
def _(result: Curves, *, at: int | None = None, **options) -> tuple[str, ...]:
    landmark = main_landmark(result, at)
    grouped = is_grouped(result.frame)
    groups = in_order(result.frame["group"])
    said = [about(group, grouped, _group(result, group, landmark)) for group in groups]
    return (*said, *result.beside) or ("Nobody was at risk.",)
