"""Charts of curves: which lines, in which panels, with which labels. Nothing is estimated here."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.present import numbers, stack_drawing
from necrostats.present.drawing import words_alone
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.numbers import FEWEST_AT_RISK, FEWEST_FOR_A_CURVE
from necrostats.present.say_curves import at_start, counted_once, main_cause
from necrostats.present.steps import Curve, Grid, Panel, RiskRow, draw
from necrostats.present.style import BACKDROP, MOST_STYLES, Style, drawing, style_at
from necrostats.present.wording import alternative, caption, in_order, is_grouped, plain, plural, sentence_case, with_n
from necrostats.results import Curves

_MANY_TICKS, _MOST_TICKS = 6, 12
LOW = 0.2
"""A share up to which competing causes are drawn on a scale of their own."""


def _chosen_cause(result: Curves, cause: str | None) -> object:
    causes = in_order(result.frame["cause"])
    if cause is not None and cause not in causes:
        raise unknown_choice("cause", cause, causes)
    return main_cause(result) if cause is None else cause


def _horizon(result: Curves) -> float:
    last = result.frame[result.axis].max()
    return float(max(result.landmarks)) if result.landmarks else float(last) if numbers.known(last) else 1.0


def _ticks(result: Curves, horizon: float) -> tuple[int, ...]:
    """The landmarks, with what lies evenly between them, or else a few of the points that the table has."""
    points = sorted(int(each) for each in result.frame[result.axis].unique() if each <= horizon)
    if result.landmarks:
        step = math.gcd(*result.landmarks)
        if points[:1] == [0] and step and horizon / step <= _MOST_TICKS:
            return tuple(range(0, int(horizon) + 1, step))
        return tuple(sorted({*result.landmarks, *points[:1]} if points[:1] == [0] else result.landmarks))
    step = max(1, -(-len(points) // _MANY_TICKS))
    return tuple(points[::step])


def _faint_from(rows: pd.DataFrame, axis: str) -> float:
    """The point after which fewer than 10 were at risk all the way; infinity if that never comes."""
    times, at_risk = rows[axis].tolist(), rows["at_risk"].tolist()
    place = len(times)
    while place and at_risk[place - 1] < FEWEST_AT_RISK:
        place -= 1
    if place == len(times):
        return float("inf")
    return float(times[place - 1]) if place else float("-inf")


def _drawn(rows: pd.DataFrame, result: Curves) -> pd.DataFrame:
    """The rows that shape a curve: where something happened, the points named in advance, the first and the last."""
    axis = result.axis
    if _open(rows).any():
        return rows
    happened = rows.loc[rows["events"] > 0, axis]
    points = {*happened, *result.landmarks, rows[axis].min(), rows[axis].max()}
    return rows[rows[axis].isin(points)]


_ROUNDING = 1e-9


def _open(rows: pd.DataFrame) -> pd.Series:
    """Where the data leave a curve open between `least` and `most`."""
    if "most" not in rows:
        return pd.Series(False, index=rows.index)
    return rows["most"] - rows["least"] > _ROUNDING


def _boxes(rows: pd.DataFrame, axis: str) -> tuple[tuple[float, float, float, float], ...]:
    """A box for each run of points at which a curve is open: from the first to one after the last."""
    is_open = _open(rows)
    runs = rows[is_open].groupby((~is_open).cumsum()[is_open])
    return tuple(
        (float(run[axis].min()), float(run[axis].max()) + 1, float(run["least"].iloc[0]), float(run["most"].iloc[0]))
        for _, run in runs
    )


def _curve(rows: pd.DataFrame, all_rows: pd.DataFrame, result: Curves, label: str, style: Style, bold: bool) -> Curve:
    point = result.axis
    return Curve(
        label=label,
        style=style,
        bold=bold,
        x=tuple(rows[point].astype(float)),
        y=tuple(rows["estimate"].astype(float).mask(_open(rows))),
        boxes=_boxes(rows, point),
        low=tuple(rows["low"].astype(float)),
        high=tuple(rows["high"].astype(float)),
        faint_from=_faint_from(all_rows, point),
        start=float(result.falling),
    )


def _rows_of(result: Curves, group: object, cause: object) -> pd.DataFrame:
    table, horizon = result.frame, _horizon(result)
    rows = table[(table["group"] == group) & (table["cause"] == cause) & (table[result.axis] <= horizon)]
    return rows.sort_values(result.axis, kind="stable")


def _risk_row(rows: pd.DataFrame, result: Curves, label: str) -> RiskRow:
    """How many were at risk just before each tick: as many as before the next point at which anything happened."""
    at, risk = rows[result.axis].to_numpy(), [*rows["at_risk"], 0]
    ticks = _ticks(result, _horizon(result))
    places = np.searchsorted(at, ticks, side="left")
    return RiskRow(label=label, counts=tuple(numbers.count(risk[place]) for place in places))


def _n(result: Curves, group: object, cause: object) -> int:
    rows = _rows_of(result, group, cause)
    return at_start(rows) if len(rows) else 0


def _group_label(result: Curves, group: object, cause: object) -> str:
    return with_n(plain(group), numbers.count(_n(result, group, cause)))


def _by_cause(result: Curves, group: object, main: object) -> Panel:
    """One group: the main cause in bold, the competing causes thinner, and below it where all of them are rare."""
    causes = sorted(in_order(result.frame["cause"]), key=lambda cause: cause != main)
    curves = []
    for place, cause in enumerate(causes):
        rows = _rows_of(result, group, cause)
        label = with_n(plain(cause), numbers.count(_n(result, group, cause)))
        curves.append(_curve(_drawn(rows, result), rows, result, label, style_at(place), cause == main))
    risk = (_risk_row(_rows_of(result, group, main), result, "At risk"),)
    if result.falling or any(max(curve.y, default=0) > LOW for curve in curves[1:]):
        return Panel(title="", curves=tuple(curves), risk=risk)
    return Panel(title="", curves=tuple(curves[:1]), apart=tuple(curves[1:]), risk=risk)


def _by_group(result: Curves, groups: list, drawn: list, main: object) -> Panel:
    """Several groups: a line each for the main cause."""
    curves, risk = [], []
    for place, group in enumerate(groups):
        rows = _rows_of(result, group, main)
        style = style_at(place)
        if group in drawn:
            label = _group_label(result, group, main)
            curves.append(_curve(_drawn(rows, result), rows, result, label, style, False))
        risk.append(_risk_row(rows, result, plain(group) if is_grouped(result.frame) else "At risk"))
    return Panel(title="", curves=tuple(curves), risk=tuple(risk))


def _facet(result: Curves, group: object, drawn: list, main: object) -> Panel:
    """One of many groups in a panel of its own, the others behind it in grey."""
    quiet = Style(colour=BACKDROP, line="-", marker="")
    behind = []
    for other in drawn:
        if other != group:
            rows = _rows_of(result, other, main)
            behind.append(_curve(_drawn(rows, result), rows, result, "", quiet, False))
    rows = _rows_of(result, group, main)
    front = [_curve(_drawn(rows, result), rows, result, "", style_at(0), True)] if group in drawn else []
    risk = (_risk_row(rows, result, "At risk"),)
    title = _group_label(result, group, main)
    return Panel(title=title, curves=tuple(front), risk=risk, behind=tuple(behind))


def _remark(group: object, n: int, grouped: bool, of: str) -> str:
    name = f"{plain(group)}: " if grouped else ""
    if n == 0:
        return sentence_case(f"{name}nobody at risk")
    return sentence_case(f"{name}{n} {plural(n, of)}, too few for a curve")


def _panels(result: Curves, main: object, groups: list, drawn: list) -> tuple[Panel, ...]:
    if len(groups) > MOST_STYLES:
        return tuple(_facet(result, group, drawn, main) for group in groups)
    if len(groups) == 1 and drawn:
        return (_by_cause(result, groups[0], main),)
    return (_by_group(result, groups, drawn, main),)


def _remarks(result: Curves, main: object, groups: list, drawn: list) -> tuple[str, ...]:
    grouped = is_grouped(result.frame)
    said = [_remark(group, _n(result, group, main), grouped, result.of) for group in groups if group not in drawn]
    each = [_rows_of(result, group, main) for group in drawn]
    if any(_faint_from(rows, result.axis) < float("inf") for rows in each):
        said.append(f"Faint: fewer than {FEWEST_AT_RISK} at risk")
    return tuple(said) if groups else ("Nobody at risk",)


def _axis_labels(result: Curves, main: object, groups: list) -> tuple[str, str]:
    across = "Necrosectomy sessions" if result.axis == "sessions" else "Days"
    if result.axis == "days" and "index drainage" in result.method.estimand:
        across = "Days from index drainage"
    if result.axis == "days" and "since documented resolution" in result.method.estimand:
        across = "Days from documented resolution"
    what = f", {plain(main)}" if len(groups) > 1 and main is not None else ""
    up = sentence_case(plain(main)) if result.falling else f"Cumulative incidence{what}"
    return across, f"{up}, % of {result.of}"


def _grid(result: Curves, main: object, groups: list, drawn: list) -> Grid:
    across, up = _axis_labels(result, main, groups)
    horizon = _horizon(result)
    return Grid(
        panels=_panels(result, main, groups, drawn),
        ticks=_ticks(result, horizon),
        horizon=horizon,
        whole=result.axis == "sessions",
        x_label=across,
        y_label=up,
        remarks=_remarks(result, main, groups, drawn),
    )


def _data(result: Curves, main: object, groups: list, drawn: list) -> pd.DataFrame:
    causes = [main] if len(groups) > 1 else in_order(result.frame["cause"])
    kept = [_drawn(_rows_of(result, group, cause), result) for group in drawn for cause in causes]
    kept = [rows for rows in kept if len(rows)]
    columns = ["group", "cause", result.axis, *Curves.columns[2:]]
    return (pd.concat(kept) if kept else result.frame.iloc[:0])[columns].reset_index(drop=True)


@chart.register(Curves)
def _(
    result: Curves, *, width: str = "page", cause: str | None = None, stacked: bool | None = None, **options
) -> Figure:
    """Step curves. `cause` names the end to draw for several groups (default: resolution).

    `stacked`: all ends on top of each other, with the share that remains (default: only where the result has one).
    """
    if bool(result.remaining) if stacked is None else stacked:
        return stack_drawing.figure_of(result, width)
    main, groups = _chosen_cause(result, cause), in_order(result.frame["group"])
    drawn = [group for group in groups if _n(result, group, main) >= FEWEST_FOR_A_CURVE]
    grid = _grid(result, main, groups, drawn)
    said = f"{result.title}: {'; '.join(grid.remarks)}."
    redraw = partial(draw, grid) if drawn else partial(words_alone, said)
    inches = check_width(width)
    with drawing():
        sheet = redraw(inches)
    return Figure(
        fig=sheet,
        alt=alternative(result, "Step curves"),
        data=_data(result, main, groups, drawn),
        redraw=redraw,
        caption=caption(result, "Shaded: the intervals", counted_once(result), *grid.remarks) if drawn else "",
    )
