"""Does an indicator change slowly, or hardly ever? Rules over many quarters, chosen by how much a quarter holds."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from necrostats.definitions.indicators import BY_NAME
from necrostats.measures.quarters import FEWEST_QUARTERS, NO_SIGNAL, SIGNAL, TOO_EARLY
from necrostats.results import Method, Note, Quarters, Statements
from necrostats.stats.control_charts import Cusum, cusum_threshold, gap_chart, run_chart, share_cusum

ENOUGH_FOR_A_RUN, RARE = 5, 1
"""Events expected a quarter from which runs are counted, and below which the gap since the last is told."""
ODDS_RATIO = 2.0
RUN, SUM, GAP = "run chart", "CUSUM", "CUSUM and g chart"
COLUMNS = (
    "variable",
    "expected",
    "chart",
    "longest_run",
    "longest_expected",
    "crossings",
    "fewest_expected",
    "sum",
    "threshold",
    "above_since",
    "since_at_least",
    "since_at_most",
    "since_limit",
    "verdict",
    "name",
)
SOURCES = (
    "Anhøj and Olesen, PLoS One 2014;9:e113825",
    "Steiner et al., Biostatistics 2000;1:441",
    "Benneyan, Health Care Manag Sci 2001;4:305",
)


def slow_changes(judged: Quarters) -> Statements:
    """Whether an indicator has changed over many quarters, which no single one of them shows.

    One row an indicator of what `quarter_verdicts` gave, over the quarters up to the one that is judged. Its
    `chart` is chosen by `expected`, the events that the baseline gives in a median quarter. From 5 on a run chart
    of the quarters' shares: the `longest_run` on one side of their own median and the `crossings` of it, with what
    a steady unit has at most and at least. Below, for what a unit wants rarely, a CUSUM of the log-likelihood ratio
    against twice the baseline's odds: its `sum` now, the `threshold` it would reach once in 370 quarters, by
    simulation, and `above_since`, the quarter in which it did. Below 1, also how many sessions, patients or stents
    have gone by since the last event: at least and at most, because within a quarter their order is not recorded,
    and the `since_limit` of a g chart, beyond which events have become rarer. With fewer than 12 baseline quarters
    it is too early to say.

    Counted: of each indicator the sessions, patients or stents of each quarter that can have it.
    Source: Anhøj and Olesen, PLoS One 2014;9:e113825; Steiner et al., Biostatistics 2000;1:441; Benneyan, Health Care
        Manag Sci 2001;4:305.
    """
    rows = [row for own in _up_to_judged(judged) for row in _row(own)]
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    text = "Each rule is wrong of a steady unit now and then: look at the cases before anything is done."
    return Statements(
        title=f"Slow changes up to {judged.quarter}" if judged.quarter else "Slow changes",
        frame=frame,
        population=judged.population,
        method=Method(
            estimand="runs, sums and gaps of each indicator over the quarters, beside what a steady unit gives",
            estimator=f"from {ENOUGH_FOR_A_RUN} events expected a quarter a run chart; below it a CUSUM against odds "
            f"{ODDS_RATIO:g} times the baseline's; below {RARE} also a g chart",
            interval="none: limits of the rules",
            level=judged.method.level,
            definition=judged.method.definition,
            references=SOURCES,
        ),
        notes=(Note(code="MULTIPLICITY", text=text),) if rows else (),
        said=tuple(_said(frame, judged.quarter)),
    )


def _up_to_judged(result: Quarters) -> Iterator[pd.DataFrame]:
    """The quarters of each indicator that hold anything, up to the last that is judged."""
    quarterly = result.frame[~result.frame["group"].astype(str).str.contains("..", regex=False)]
    quarters = [each for each in result.frame["group"].cat.categories if ".." not in each]
    for judged in result.judged().itertuples():
        known = set(quarters[: quarters.index(str(judged.group).split("..")[-1]) + 1])
        own = quarterly[(quarterly["variable"] == judged.variable) & quarterly["group"].isin(known)]
        if len(own := own[own["n"] > 0]):
            yield own


def _row(own: pd.DataFrame) -> Iterator[dict]:
    """What the rule that fits says of one indicator; nothing where the baseline has no event, or only events."""
    first = own.iloc[0]
    k, n, wanted_rarely = int(first["baseline_events"]), int(first["baseline_n"]), BY_NAME[first["name"]].wanted_rarely
    if not 0 < k < n:
        return
    share, size = k / n, int(np.median(own["n"]))
    row = dict.fromkeys(COLUMNS, np.nan) | {"variable": first["variable"], "expected": share * size}
    row |= {"name": first["name"], "verdict": TOO_EARLY, "above_since": ""}
    if share * size >= ENOUGH_FOR_A_RUN or not wanted_rarely:
        row |= _runs(own)
    else:
        row |= _sums(own, share, size)
    if first["baseline_quarters"] >= FEWEST_QUARTERS:
        row["verdict"] = SIGNAL if _beyond(row) else NO_SIGNAL
    yield row


def _runs(own: pd.DataFrame) -> dict:
    found = run_chart(own["estimate"])
    return {
        "chart": RUN,
        "longest_run": found.longest,
        "longest_expected": found.longest_expected,
        "crossings": found.crossings,
        "fewest_expected": found.fewest_expected,
    }


def _sums(own: pd.DataFrame, share: float, size: int) -> dict:
    events, n = own["events"].to_numpy(), own["n"].to_numpy()
    threshold = cusum_threshold(max(size, 1), share, odds_ratio=ODDS_RATIO)
    found: Cusum = share_cusum(events, n, share, odds_ratio=ODDS_RATIO, threshold=threshold)
    row = {"chart": SUM, "sum": float(found.total[-1]), "threshold": threshold, "above_since": _above_since(own, found)}
    if share * size >= RARE:
        return row
    last = int(np.flatnonzero(events)[-1]) if events.any() else 0
    since = {"since_at_least": int(n[last + 1 :].sum()), "since_at_most": int(n[last:].sum() - events[last])}
    return row | since | {"chart": GAP, "since_limit": float(gap_chart(share).high[0])}


def _above_since(own: pd.DataFrame, found: Cusum) -> str:
    """The quarter from which the sum has been at its threshold or above until now; blank where it is below."""
    below = np.flatnonzero(~found.signals)
    start = below[-1] + 1 if below.size else 0
    return str(own["group"].iloc[start]) if start < len(own) else ""


def _beyond(row: dict) -> bool:
    """Whether the rule is broken; what is blank breaks none."""
    return (
        row["longest_run"] > row["longest_expected"]
        or row["crossings"] < row["fewest_expected"]
        or row["sum"] >= row["threshold"]
        or row["since_at_least"] > row["since_limit"]
    )


def _said(frame: pd.DataFrame, quarter: str) -> Iterator[str]:
    """What all rules say together, then each signal."""
    signals = frame[frame["verdict"] == SIGNAL]
    if frame.empty:
        yield "No indicator has a baseline from which a slow change could be told."
    elif (frame["verdict"] == TOO_EARLY).all():
        yield f"Slow changes up to {quarter}: too early to say; fewer than {FEWEST_QUARTERS} quarters went before."
    elif signals.empty:
        yield f"No slow change up to {quarter} in {len(frame):,} indicators ({_charts(frame)})."
    for row in signals.itertuples():
        yield f"{row.variable} has changed over the quarters: {_why(row)}. Look at the cases."


def _charts(frame: pd.DataFrame) -> str:
    counts = frame["chart"].value_counts(sort=False)
    return ", ".join(f"{chart} {count:,}" for chart, count in counts.items())


def _why(row) -> str:
    if row.chart == RUN:
        run = f"{row.longest_run:.0f} quarters in a row on one side of the median (a steady unit: at most "
        return f"{run}{row.longest_expected:.0f}), {row.crossings:.0f} crossings (at least {row.fewest_expected:.0f})"
    if row.above_since:
        passed = f"the evidence for twice the odds has been above its limit since {row.above_since}"
        return f"{passed} (CUSUM {row.sum:.1f}, limit {row.threshold:.1f})"
    return f"none since at least {row.since_at_least:,.0f}, above {row.since_limit:,.0f}"
