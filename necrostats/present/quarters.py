"""Quarters against their baseline: one sentence, one row and one small panel an indicator."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.figure import Figure as Drawing

from necrostats.definitions.indicators import BY_NAME, HEADLINE
from necrostats.errors import unknown_choice
from necrostats.measures.quarters import FEWEST_QUARTERS, NO_SIGNAL, NOBODY, SIGNAL, TOO_EARLY
from necrostats.present import numbers
from necrostats.present.cells import exposure, is_share
from necrostats.present.drawing import Pen, blank, words_alone, wrapped
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.style import BACKDROP, INK, LINE, QUIET, SMALL, STYLES, TEXT, drawing
from necrostats.present.tables import Table, table
from necrostats.present.wording import alternative, ended, findings, listed, plural, table_caption
from necrostats.results import Quarters

_FULL, _HEADLINE = "all", "headline"
_PARTS = (_FULL, _HEADLINE)
_LAST = 8
_TICKS = 4
_COLUMNS = {"page": 3, "column": 1}
_NARROW = 5.0
_NOTHING = "Nothing can be judged yet: see the table."


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
    if judged["verdict"].isin([TOO_EARLY, NOBODY]).all():
        return f"{result.quarter}: too early to say of any of {of}; fewer than {FEWEST_QUARTERS} quarters went before."
    if signals.empty:
        return f"{result.quarter}: no signal in {of}. No signal is not the same as no change."
    named = listed(f"{row.variable} ({_seen(row)}; {_expected(row)} expected)" for row in signals.itertuples())
    verb = "is a signal" if len(signals) == 1 else "are signals"
    return (
        f"{result.quarter}: {len(signals)} of {of} {verb}: {named}. Look at the cases before the figures are passed on."
    )


def _expected(row) -> str:
    return f"{row.expected_low:.0f} to {row.expected_high:.0f}"


def _sentence(row, result: Quarters) -> str:
    when = "" if row.group == result.quarter else f" in {row.group}, the last that has matured"
    seen = f"{row.variable}: {_seen(row)} ({_noun(row)}){when}"
    went_before = (
        f"{row.baseline_events:,} {_link(row)} {row.baseline_n:,} in the baseline" if row.baseline_n else "nothing"
    )
    if row.verdict == NOBODY:
        return f"{row.variable}: nothing to judge in {row.group}."
    if row.verdict == TOO_EARLY:
        beyond = not row.expected_low <= row.events <= row.expected_high and row.baseline_n > 0
        look = f", but beyond the {_expected(row)} expected: look at the cases"
        return f"{seen}; {went_before} went before: too early to say{look if beyond else ''}."
    expected = f"{_expected(row)} would be compatible with no change"
    if row.verdict == NO_SIGNAL:
        more = (
            f"; of as many next quarter, more than {row.action_high:.0f} would be a signal"
            if row.action_high < row.n
            else ""
        )
        return f"{seen}; {went_before}: {expected}: no signal{more}."
    return f"{seen}; {went_before}: {expected}: a signal."


def _link(row) -> str:
    return "of" if is_share(row.per, row.unit) else "in"


def _noun(row) -> str:
    return row.unit if is_share(row.per, row.unit) else exposure(row.unit)


def _seen(row) -> str:
    return f"{row.events:,} {_link(row)} {row.n:,}"


@table.register(Quarters)
def _(result: Quarters, **options) -> Table:
    """One row an indicator: the quarter, the one before, the same a year ago, the baseline, the verdict."""
    quarters = [each for each in result.frame["group"].cat.categories if ".." not in each]
    judged = result.judged()
    rows = [
        _table_row(row, result, own.set_index(own["group"].astype(str)), quarters)
        for row in judged[judged["verdict"] != NOBODY].itertuples()
        for own in [result.frame[result.frame["variable"] == row.variable]]
    ]
    frame = pd.DataFrame(rows, columns=None if rows else ["Indicator", "Verdict"], dtype=object)
    words = tuple(name for name in ("Verdict", "Target") if name in frame)
    if "Target" in frame and not (frame["Target"] != "").any():
        frame, words = frame.drop(columns="Target"), ("Verdict",)
    notes = (*_nobody(judged), *_marked(result), *(note.text for note in result.notes))
    return Table(caption=table_caption(result), frame=frame, words=words, notes=notes)


def _marked(result: Quarters) -> tuple[str, ...]:
    """What the unit changed, and that it changes nothing of the baseline."""
    said = listed(f"{what} from {quarter} on" for quarter, what in result.phases)
    return (f"Marked by the unit: {said}. The baseline is not begun anew by that.",) if said else ()


def _nobody(judged: pd.DataFrame) -> tuple[str, ...]:
    """One line for the indicators of which the period held nobody and nothing."""
    names = judged.loc[judged["verdict"] == NOBODY, "variable"]
    return (f"Nothing to judge: {'; '.join(map(_lowered, names))}.",) if len(names) else ()


def _lowered(title: str) -> str:
    return title[:1].lower() + title[1:]


def _table_row(row, result: Quarters, by_quarter: pd.DataFrame, quarters: list[str]) -> dict[str, str]:
    """The quarter, or the stretch, beside as many quarters before it and the same of a year ago."""
    first, *last = str(row.group).split("..")
    start, size = quarters.index(first), quarters.index((last or [first])[0]) - quarters.index(first) + 1
    own = by_quarter.loc[str(row.group)]
    now = _fraction(own) if row.group == result.quarter else f"{_fraction(own)} in {row.group}"
    return {
        "Indicator": str(row.variable),
        result.quarter: now,
        "Expected if nothing changed": _expected(row),
        "Before": _together(by_quarter, quarters, start - size, size),
        "A year before": _together(by_quarter, quarters, start - 4, size),
        "Baseline": f"{row.baseline_events:,}/{row.baseline_n:,}",
        "Verdict": row.verdict.replace(" ", "\N{NO-BREAK SPACE}"),
        "Target": row.target,
    }


def _together(rows: pd.DataFrame, quarters: list[str], start: int, size: int) -> str:
    """So many quarters from a place on, as one; a dash where the registry does not reach so far back."""
    if start < 0:
        return "–"
    own = rows.loc[quarters[start : start + size]]
    summed = own.iloc[0].copy()
    summed["events"], summed["n"] = own["events"].sum(), own["n"].sum()
    summed["estimate"] = summed["per"] * summed["events"] / summed["n"] if summed["n"] else float("nan")
    return _fraction(summed)


def _fraction(row) -> str:
    if not row["n"]:
        return "0/0"
    seen = f"{row['events']:,}/{row['n']:,}"
    if row["n"] < numbers.FEWEST_FOR_A_RATE:
        return seen
    if not is_share(row["per"], row["unit"]):
        return f"{seen} ({numbers.amount(row['estimate'])} per {row['per']:,})"
    return f"{seen} ({numbers.percent(row['estimate'], row['n'])})"


@chart.register(Quarters)
def _(result: Quarters, *, width: str = "page", of: str = _FULL, **options) -> Figure:
    """A panel an indicator: its share by quarter, the baseline's share, and the limits beyond which it is a signal.

    `of` "headline": the five that open a review, each with its verdict and the last eight quarters as a small line.
    """
    if of not in _PARTS:
        raise unknown_choice("part", of, _PARTS)
    if of == _HEADLINE:
        result = _headline(result)
    redraw = partial(_lines_drawn if of == _HEADLINE else _panels_drawn, result)
    inches = check_width(width)
    with drawing():
        fig = redraw(inches)
    data = result.frame[["variable", "group", "events", "n", "centre", "action_low", "action_high", "signal"]]
    remark = "Line: the baseline; grey: counts that are no signal; filled: a signal"
    remark += "; dashed: what the unit marked" if result.phases else ""
    told = bool(_by_indicator(result, told_apart=of == _HEADLINE))
    return Figure(
        fig=fig,
        alt=alternative(result, "Small panels by quarter"),
        caption=f"{ended(result.title)} {ended(remark)}" if told else "",
        data=data.reset_index(drop=True),
        redraw=redraw,
    )


def _headline(result: Quarters) -> Quarters:
    """The five indicators that open a review, in the last eight quarters up to the one that is judged."""
    frame = result.frame[result.frame["name"].isin(HEADLINE)]
    quarters = [each for each in result.frame["group"].cat.categories if ".." not in each]
    end = result.quarter.split("..")[-1]
    last = quarters[: quarters.index(end) + 1][-_LAST:] if end in quarters else quarters[-_LAST:]
    frame = frame[frame["group"].isin(last) | (frame["verdict"] != "")]
    titles = [BY_NAME[name].title for name in HEADLINE if (frame["name"] == name).any()]
    named = pd.Categorical(frame["variable"].astype(object), categories=titles, ordered=True)
    return replace(result, frame=frame.assign(variable=named).sort_values("variable", kind="stable"))


def _by_indicator(result: Quarters, *, told_apart: bool = False) -> list[tuple[object, pd.DataFrame]]:
    """Each judged row with the quarters of its indicator; none where nothing can be judged yet, unless `told_apart`."""
    judged = result.judged()
    if not told_apart and judged["verdict"].isin([TOO_EARLY, NOBODY]).all():
        return []
    quarterly = result.frame[~result.frame["group"].astype(str).str.contains("..", regex=False)]
    return [(row, quarterly[quarterly["variable"] == row.variable]) for row in judged.itertuples()]


_TITLE, _PANEL, _GAP, _AXIS = 0.29, 0.42, 0.1, 0.38


def _panels_drawn(result: Quarters, width: float) -> Drawing:
    """Panels side by side, each under its name and verdict."""
    each = _by_indicator(result)
    if not each:
        return words_alone(_NOTHING, width)
    columns = 1 if width < _NARROW else 3
    rows = -(-len(each) // columns)
    across = width / columns
    sheet = blank(width, rows * (_TITLE + _PANEL + _GAP) + 0.25)
    pen = Pen(sheet)
    for place, (row, quarters) in enumerate(each):
        left, top = (place % columns) * across, (place // columns) * (_TITLE + _PANEL + _GAP)
        name = f"{row.variable}: {row.verdict}"
        look = {"color": INK, "fontweight": "bold" if row.verdict == SIGNAL else "normal"}
        pen.text(left + 0.05, top + 0.12, wrapped(name, across - 0.15, SMALL, most=2), size=SMALL, **look)
        axes = pen.axes(left + _AXIS, top + _TITLE, across - _AXIS - 0.1, _PANEL)
        _panel(axes, quarters, result.phases, last=place + columns >= len(each))
    return sheet


_ROW, _SPARK = 0.41, 0.32


def _lines_drawn(result: Quarters, width: float) -> Drawing:
    """A line an indicator: its name, what was seen, the verdict and the quarters as a small line."""
    each = _by_indicator(result, told_apart=True)
    if not each:
        return words_alone(_NOTHING, width)
    narrow = width < _NARROW
    height = _ROW * (1.6 if narrow else 1)
    sheet = blank(width, height * len(each) + 0.3)
    pen = Pen(sheet)
    left = 0.05 if narrow else 0.52 * width
    for place, (row, quarters) in enumerate(each):
        top = place * height + 0.05
        bold = "bold" if row.verdict == SIGNAL else "normal"
        room = width - 0.1 if narrow else 0.31 * width
        pen.text(0.05, top + 0.14, wrapped(str(row.variable), room, TEXT, most=1 if narrow else 2), fontweight=bold)
        when = "" if row.group == result.quarter else f" in {row.group}"
        said = f"{_fraction(_cells(row))}{when}"
        at = (0.05, top + 0.32) if narrow else (0.33 * width, top + 0.14)
        pen.text(*at, said, fontweight=bold)
        pen.text(
            at[0] + (1.6 if narrow else 0), at[1] + (0 if narrow else LINE), row.verdict, color=INK, fontweight=bold
        )
        start, high = left + _AXIS, _SPARK
        axes = pen.axes(start, top + (0.42 if narrow else 0.04), width - start - 0.1, high)
        _panel(axes, quarters, result.phases, last=place == len(each) - 1)
    return sheet


def _cells(row) -> dict[str, object]:
    return {name: getattr(row, name) for name in ("events", "n", "per", "unit", "estimate")}


def _panel(axes, rows: pd.DataFrame, phases: tuple[tuple[str, str], ...], *, last: bool) -> None:
    """One indicator by quarter, over its denominator; the axis ends where the highest limit or share lies."""
    at, n = np.arange(len(rows)), rows["n"].to_numpy(dtype=float)
    size = np.where(n > 0, n, np.nan)
    share, low, high = (rows[name].to_numpy(dtype=float) / size for name in ("events", "action_low", "action_high"))
    signal = rows["signal"].to_numpy(dtype=bool)
    axes.fill_between(at, low, high, step="mid", color=BACKDROP, alpha=0.45, linewidth=0)
    axes.axhline(rows["centre"].iloc[0], color=QUIET, linewidth=0.7)
    axes.plot(
        at,
        share,
        color=STYLES[0].colour,
        linewidth=0.8,
        marker="o",
        markersize=2.6,
        markerfacecolor="white",
        clip_on=False,
    )
    for place in np.flatnonzero(rows["group"].astype(str).isin([quarter for quarter, _ in phases])):
        axes.axvline(place - 0.5, color=INK, linewidth=0.7, linestyle=(0, (2, 2)))
    axes.plot(at[signal], share[signal], color=STYLES[1].colour, linestyle="none", marker="D", markersize=4.5)
    per = rows["per"].iloc[0]
    drawn = np.concatenate([share, high])
    least = 0.05 if per == 1 else 1 / per
    top = max(np.max(drawn[np.isfinite(drawn)], initial=0), least)
    axes.set_ylim(0, min(1.05, 1.1 * top) if per == 1 else 1.1 * top)
    axes.set_xlim(-0.5, len(rows) - 0.5)
    step = max(1, -(-len(rows) // _TICKS))
    names = [str(each) for each in rows["group"]][::step]
    axes.set_xticks(at[::step], names if last else [""] * len(names), fontsize=SMALL)
    half = top / 2
    axes.set_yticks([0, half], ["0", f"{100 * half:.0f} %" if per == 1 else f"{per * half:.1g}"])
    axes.tick_params(axis="y", labelsize=SMALL)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
