"""Quarters against their baseline: one sentence, one row and one small panel an indicator."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
from matplotlib.figure import Figure as Drawing

from necrostats.measures.quarters import FEWEST_QUARTERS, NO_SIGNAL, NOBODY, SIGNAL, TOO_EARLY
from necrostats.present import numbers
from necrostats.present.figures import Figure, blank, chart, check_width
from necrostats.present.labels import wrapped
from necrostats.present.pen import Pen
from necrostats.present.saying import findings, plural
from necrostats.present.style import BACKDROP, INK, QUIET, SMALL, STYLES, TEXT, drawing
from necrostats.present.tables import Table, table
from necrostats.present.wording import alternative, caption, table_caption
from necrostats.results import Quarters

_PANEL, _GAP, _LEFT, _NAME, _RIGHT = 0.62, 0.3, 0.45, 2.3, 0.1
_TICKS = 4


@findings.register(Quarters)
def _(result: Quarters, **options) -> tuple[str, ...]:
    """What holds up in the quarter, signals first; one sentence each."""
    judged = result.judged()
    if judged.empty:
        return (f"{result.title}: nothing is recorded that could be judged.",)
    signals = judged[judged["verdict"] == SIGNAL]
    rest = judged[judged["verdict"] != SIGNAL]
    first = _summary(result, judged, signals)
    return (first, *(_sentence(row, result) for row in (*signals.itertuples(), *rest.itertuples())))


def _summary(result: Quarters, judged: pd.DataFrame, signals: pd.DataFrame) -> str:
    of = f"{len(judged)} {plural(len(judged), 'indicators')}"
    if (judged["verdict"] == TOO_EARLY).all():
        return f"{result.quarter}: too early to say of any of {of}; fewer than {FEWEST_QUARTERS} quarters went before."
    if signals.empty:
        return f"{result.quarter}: no signal in {of}. No signal is not the same as no change."
    return f"{result.quarter}: {len(signals)} of {of} {'is a signal' if len(signals) == 1 else 'are signals'}."


def _sentence(row, result: Quarters) -> str:
    seen = f"{row.variable}: {row.events:,} of {row.n:,} ({row.unit})"
    went_before = f"{row.baseline_events:,} of {row.baseline_n:,} in {result.baseline}" if row.baseline_n else "nothing"
    if row.verdict == NOBODY:
        return f"{row.variable}: nothing to judge in {result.quarter}."
    if row.verdict == TOO_EARLY:
        beyond = not row.expected_low <= row.events <= row.expected_high and row.baseline_n > 0
        look = f", but beyond the {row.expected_low:.0f} to {row.expected_high:.0f} expected: look at the cases"
        return f"{seen}; {went_before} went before: too early to say{look if beyond else ''}."
    expected = f"{row.expected_low:.0f} to {row.expected_high:.0f} would be compatible with no change"
    if row.verdict == NO_SIGNAL:
        more = (
            f"; of as many next quarter, more than {row.action_high:.0f} would be a signal"
            if row.action_high < row.n
            else ""
        )
        return f"{seen}; {went_before}: {expected}: no signal{more}."
    return f"{seen}; {went_before}: {expected}: a signal. Look at the cases before the figure is passed on."


@table.register(Quarters)
def _(result: Quarters, **options) -> Table:
    """One row an indicator: the quarter, the one before, the same a year ago, the baseline, the verdict."""
    quarters = list(result.frame["group"].cat.categories)
    place = quarters.index(result.quarter) if result.quarter in quarters else -1
    rows = []
    for name, own in result.frame.groupby("variable", observed=True, sort=False):
        by_quarter = own.set_index(own["group"].astype(str))
        now = by_quarter.loc[result.quarter]
        rows.append(
            {
                "Indicator": str(name),
                result.quarter: _fraction(now),
                "Expected if nothing changed": f"{now['expected_low']:.0f} to {now['expected_high']:.0f}",
                "Quarter before": _at(by_quarter, quarters, place - 1),
                "Year before": _at(by_quarter, quarters, place - 4),
                "Baseline": f"{now['baseline_events']:,}/{now['baseline_n']:,}",
                "Verdict": now["verdict"],
            }
        )
    frame = pd.DataFrame(rows, dtype=object)
    return Table(
        caption=table_caption(result), frame=frame, words=("Verdict",), notes=tuple(n.text for n in result.notes)
    )


def _at(rows: pd.DataFrame, quarters: list[str], place: int) -> str:
    return _fraction(rows.loc[quarters[place]]) if place >= 0 else "–"


def _fraction(row) -> str:
    if not row["n"]:
        return "0/0"
    share = f" ({numbers.percent(row['estimate'], row['n'])})" if row["n"] >= numbers.FEWEST_FOR_A_RATE else ""
    return f"{row['events']:,}/{row['n']:,}{share}"


@chart.register(Quarters)
def _(result: Quarters, *, width: str = "page", **options) -> Figure:
    """A panel an indicator: its share by quarter, the baseline's share, and the limits beyond which it is a signal."""
    redraw = partial(_drawn, result)
    inches = check_width(width)
    with drawing():
        fig = redraw(inches)
    data = result.frame[["variable", "group", "events", "n", "centre", "action_low", "action_high", "signal"]]
    remark = "line: the baseline's share; grey: counts that are no signal; filled: a signal"
    return Figure(
        fig=fig,
        alt=alternative(result, "Small panels by quarter"),
        caption=caption(result, remark),
        data=data.reset_index(drop=True),
        redraw=redraw,
    )


def _drawn(result: Quarters, width: float) -> Drawing:
    names = list(result.frame["variable"].cat.categories)
    height = 0.35 + max(len(names), 1) * (_PANEL + _GAP)
    sheet = blank(width, height)
    pen = Pen(sheet)
    if not names or not result.quarter:
        pen.text(0.1, 0.2, "Nothing is recorded that could be judged.", color=QUIET)
        return sheet
    label = min(_NAME, 0.4 * width)
    for place, name in enumerate(names):
        top = 0.15 + place * (_PANEL + _GAP)
        rows = result.frame[result.frame["variable"] == name]
        verdict = rows.loc[rows["group"] == result.quarter, "verdict"].iloc[0]
        text = wrapped(f"{name}: {verdict}", label - 0.1, TEXT, most=4)
        pen.text(0.05, top + 0.12, text, color=INK, fontweight="bold" if verdict == SIGNAL else "normal")
        axes = pen.axes(label + _LEFT, top, width - label - _LEFT - _RIGHT, _PANEL)
        _panel(axes, rows, last=place == len(names) - 1)
    return sheet


def _panel(axes, rows: pd.DataFrame, *, last: bool) -> None:
    at, n = np.arange(len(rows)), rows["n"].to_numpy(dtype=float)
    size = np.where(n > 0, n, np.nan)
    share, low, high = (rows[name].to_numpy(dtype=float) / size for name in ("events", "action_low", "action_high"))
    signal = rows["signal"].to_numpy(dtype=bool)
    axes.fill_between(at, low, high, step="mid", color=BACKDROP, alpha=0.45, linewidth=0)
    axes.axhline(rows["centre"].iloc[0], color=QUIET, linewidth=0.7)
    axes.plot(at, share, color=STYLES[0].colour, linewidth=0.8, marker="o", markersize=2.6, markerfacecolor="white")
    axes.plot(at[signal], share[signal], color=STYLES[1].colour, linestyle="none", marker="D", markersize=4.5)
    top = np.nanmax([np.nanmax(share, initial=0), np.nanmax(high, initial=0), 0.05])
    axes.set_ylim(0, min(1.0, 1.1 * top) if top <= 1 else 1.0)
    axes.set_xlim(-0.5, len(rows) - 0.5)
    step = max(1, -(-len(rows) // _TICKS))
    axes.set_xticks(
        at[::step], [str(each) for each in rows["group"]][::step] if last else [""] * len(at[::step]), fontsize=SMALL
    )
    axes.yaxis.set_major_formatter(lambda value, _: f"{100 * value:.0f} %")
    axes.set_yticks([0, round(top / 2, 2)] if top else [0])
    axes.tick_params(axis="y", labelsize=SMALL)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
