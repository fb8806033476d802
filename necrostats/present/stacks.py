"""Charts of curves stacked: every end on top of the others, with the share that remains, adding up to all patients."""

from __future__ import annotations

from functools import partial

import pandas as pd

from necrostats.errors import ChoiceError
from necrostats.present import numbers
from necrostats.present.figures import Figure, check_width
from necrostats.present.labels import in_order, is_grouped, plain, sentence_case, with_n
from necrostats.present.say_curves import at_start, counted_once
from necrostats.present.saying import plural
from necrostats.present.small_numbers import FEWEST_FOR_A_RATE
from necrostats.present.stack_drawing import Band, Stack, Stacks, draw
from necrostats.present.style import drawing
from necrostats.present.wording import alternative, caption
from necrostats.results import Curves

STILL_TREATED = "still under treatment"
UNREPORTED = "not to report"


def figure_of(result: Curves, width: str) -> Figure:
    """The stacked figure of cumulative incidences; ChoiceError for curves that do not add up to one."""
    if result.falling or any(str(cause).startswith(UNREPORTED) for cause in in_order(result.table["cause"])):
        raise ChoiceError(f'"{result.title}" cannot be stacked: its curves are not shares of one whole.')
    groups = in_order(result.table["group"])
    drawn = [group for group in groups if _n(result, group) >= FEWEST_FOR_A_RATE]
    remarks = tuple(_remark(result, group) for group in groups if group not in drawn)
    grid = Stacks(
        stacks=tuple(_stack(result, group) for group in drawn), names=(*map(plain, _ends(result)), _left(result)),
        whole=result.axis == "sessions", x_label=_across(result),
        remarks=remarks or (() if drawn else ("Nobody at risk",)),
    )  # fmt: skip
    redraw, inches = partial(draw, grid), check_width(width)
    with drawing():
        sheet = redraw(inches)
    return Figure(
        fig=sheet, alt=alternative(result, "Stacked shares"), data=_data(result, drawn), redraw=redraw,
        caption=caption(result, "From the bottom: " + ", ".join(grid.names), counted_once(result), *remarks),
    )  # fmt: skip


def _ends(result: Curves) -> list:
    return [cause for cause in in_order(result.table["cause"]) if cause != result.remaining]


def _left(result: Curves) -> str:
    return plain(result.remaining) if result.remaining else STILL_TREATED


def _across(result: Curves) -> str:
    if result.axis == "sessions":
        return "Necrosectomy sessions"
    return "Days from index drainage" if "index drainage" in result.method.estimand else "Days"


def _rows(result: Curves, group: object, cause: object) -> pd.DataFrame:
    """The rows of one end that are known, up to the last landmark."""
    table, last = result.table, max(result.landmarks, default=float("inf"))
    rows = table[(table["group"] == group) & (table["cause"] == cause) & (table[result.axis] <= last)]
    return rows.dropna(subset=["estimate"]).sort_values(result.axis, kind="stable")


def _n(result: Curves, group: object) -> int:
    rows = result.table[result.table["group"] == group]
    return at_start(rows) if len(rows) else 0


def _stack(result: Curves, group: object) -> Stack:
    bands = [_rows(result, group, cause) for cause in _ends(result)]
    first = bands[0]
    x = tuple(first[result.axis].astype(float))
    risk = dict(zip(first[result.axis], first["at_risk"], strict=True))
    ticks = tuple(sorted({0, *result.landmarks})) if result.landmarks else tuple(first[result.axis])
    return Stack(
        title=with_n(plain(group) if is_grouped(result.table) else "All patients", numbers.count(_n(result, group))),
        x=x, bands=tuple(Band(heights=tuple(rows["estimate"].astype(float))) for rows in bands),
        ticks=ticks, at_risk=tuple(numbers.count(risk.get(tick, 0)) for tick in ticks),
    )  # fmt: skip


def _remark(result: Curves, group: object) -> str:
    name, n = f"{plain(group)}: " if is_grouped(result.table) else "", _n(result, group)
    return sentence_case(f"{name}{n} {plural(n, 'patients')}, too few for a figure" if n else f"{name}nobody at risk")


def _data(result: Curves, drawn: list) -> pd.DataFrame:
    causes = in_order(result.table["cause"])
    kept = [_rows(result, group, cause) for group in drawn for cause in causes]
    columns = ["group", "cause", result.axis, *Curves.columns[2:]]
    return (pd.concat(kept) if kept else result.table.iloc[:0])[columns].reset_index(drop=True)
