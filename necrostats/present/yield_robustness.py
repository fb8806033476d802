"""How far a comparison of classes holds: where the classes meet, and the same ratio under every rule and adjustment."""

from __future__ import annotations

from functools import partial

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator, NullLocator

from necrostats.present import numbers
from necrostats.present.drawing import Pen, Scale, blank, logarithmic, width_of, wrapped
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.style import INK, QUIET, RULE, SMALL, STYLES, TEXT, drawing
from necrostats.present.wording import alternative, caption, in_order, plain, sentence_case
from necrostats.results import Overlap, Specifications

OVERLAP_MARGIN, CELL, OVERLAP_HEADING, INDENT, OVERLAP_GAP = 0.06, 0.2, 0.25, 0.11, 0.1
OVERLAP_LABEL = 1.3
DARK = 0.75  # from this share of the deepest colour numbers are white


@chart.register(Overlap)
def _(result: Overlap, *, width: str = "page", **options) -> Figure:
    """Classes across, levels down; the deeper the colour, the larger the share of the class's sessions."""
    redraw = partial(_draw_overlap, result.frame)
    inches = check_width(width)
    with drawing():
        sheet = redraw(inches)
    remark = "Numbers are sessions; colour is the share of the class's sessions; a cross marks a cell with none"
    return Figure(
        fig=sheet,
        alt=alternative(result, "Counts by class and level"),
        caption=caption(result, remark),
        data=result.frame[["variable", "level", "group", "events", "patients", "n"]],
        redraw=redraw,
    )


def _draw_overlap(frame: pd.DataFrame, width: float) -> Drawing:
    groups, variables = in_order(frame["group"]), in_order(frame["variable"])
    levels = {each: in_order(frame.loc[frame["variable"] == each, "level"]) for each in variables}
    names = [plain(level) for each in levels.values() for level in each] + [f"  {each}" for each in variables]
    label = min(max((width_of(each, TEXT, bold=True) for each in names), default=0.5) + INDENT, OVERLAP_LABEL)
    left = OVERLAP_MARGIN + label + OVERLAP_GAP
    wide = (width - left - OVERLAP_MARGIN) / max(len(groups), 1)
    heads, turned = _heads([sentence_case(plain(each)) for each in groups], wide - 0.04)
    tall = 0.08 + (
        max(width_of(each, SMALL) for each in heads)
        if turned
        else 0.14 * (1 + max((each.count("\n") for each in heads), default=0))
    )
    height = 2 * OVERLAP_MARGIN + tall + sum(OVERLAP_HEADING + CELL * len(each) for each in levels.values())
    sheet = blank(width, max(height, 0.5))
    pen = Pen(sheet)
    if not groups:
        pen.text(OVERLAP_MARGIN, 0.25, "No yield counts for any class", fontweight="bold")
    for place, head in enumerate(heads):
        x, look = left + (place + 0.5) * wide, {"size": SMALL, "ha": "center", "color": QUIET}
        if turned:
            pen.text(x, OVERLAP_MARGIN + tall - 0.02, head, rotation=90, **look)
        else:
            pen.text(x, OVERLAP_MARGIN + 0.12, head, **look)
    at = OVERLAP_MARGIN + tall
    for variable in variables:
        pen.text(OVERLAP_MARGIN, at + 0.17, sentence_case(plain(variable)), fontweight="bold")
        pen.line((OVERLAP_MARGIN, width - OVERLAP_MARGIN), (at + 0.04, at + 0.04))
        at += OVERLAP_HEADING
        for level in levels[variable]:
            pen.middle(OVERLAP_MARGIN + INDENT, at + CELL / 2, wrapped(plain(level), label - INDENT, TEXT, most=1))
            rows = frame[(frame["variable"] == variable) & (frame["level"] == level)]
            _draw_cells(pen, rows, groups, left, at, wide)
            at += CELL
    return sheet


def _heads(names: list[str], wide: float) -> tuple[list[str], bool]:
    """The heads of the columns, broken into lines; or, where a word is wider than its column, upright in one line."""
    if any(width_of(word, SMALL) > wide for name in names for word in name.split(" ")):
        return names, True
    return [wrapped(name, wide, SMALL, most=3) for name in names], False


def _draw_cells(pen: Pen, rows: pd.DataFrame, groups: list, left: float, top: float, wide: float) -> None:
    here = {row.group: row for row in rows.itertuples()}
    for place, group in enumerate(groups):
        if group in here:
            _draw_cell(pen, here[group], left + place * wide, top, wide)


def _draw_cell(pen: Pen, row, x: float, top: float, wide: float) -> None:
    share = row.events / row.n if row.n else 0.0
    deep = min(1.0, 0.12 + share) if row.events else 0.0
    colour = tuple(1 - deep * (1 - each) for each in to_rgb(STYLES[0].colour))
    frame = Rectangle(
        (x + 0.01, pen.height - top - CELL + 0.01),
        wide - 0.02,
        CELL - 0.02,
        transform=pen.sheet.dpi_scale_trans,
        facecolor=colour,
        edgecolor=RULE,
        linewidth=0.4,
    )
    pen.sheet.add_artist(frame)
    text = numbers.count(row.events) if row.events else "×"
    ink = "white" if deep > DARK else INK if row.events else QUIET
    pen.middle(x + wide / 2, top + CELL / 2, text, size=SMALL, ha="center", color=ink)


RULES_MARGIN, RULES_GAP, LINE, RULES_HEADING, TALL = 0.06, 0.12, 0.165, 0.26, 1.75
RULES_LABEL = {"wide": 2.5, "narrow": 1.2}
NARROW = 5.0
LIMITS = ["estimate", "low", "high"]
WITHIN = "within patients"
PARTS = (("rule", "Shared sessions"), ("adjusted_for", "Adjusted for"))


@chart.register(Specifications)
def _(result: Specifications, *, width: str = "page", **options) -> Figure:
    """Every estimate, sorted, and below it the rule and the adjustments; the ones to be judged by are full."""
    redraw = partial(_draw_rules, result)
    inches = check_width(width)
    with drawing():
        sheet = redraw(inches)
    remark = "The horizontal line marks no difference; filled: adjusted for everything, by which the verdict goes"
    return Figure(
        fig=sheet,
        alt=alternative(result, "Estimates in order with what went into them"),
        caption=caption(result, remark),
        data=result.frame.drop(columns="p_value"),
        redraw=redraw,
    )


def _draw_rules(result: Specifications, width: float) -> Drawing:
    frame = result.frame[result.frame["estimate"].notna()].reset_index(drop=True)
    if frame.empty:
        return _nothing(width)
    most = RULES_LABEL["narrow" if width < NARROW else "wide"]
    names = {part: _names(frame, part) for part, _ in PARTS}
    labels = {part: [wrapped(plain(each), most, SMALL, most=2) for each in names[part]] for part in names}
    left = RULES_MARGIN + max(width_of(each, SMALL) for part in labels.values() for each in part) + RULES_GAP
    plot = width - left - RULES_MARGIN
    below = sum(RULES_HEADING + sum(_tall(each) for each in part) for part in labels.values())
    sheet = blank(width, 2 * RULES_MARGIN + RULES_HEADING + TALL + 0.08 + below)
    pen = Pen(sheet)
    heading = wrapped(f"Ratio of yields, {_pair(frame)}", width - 2 * RULES_MARGIN, TEXT + 0.5, bold=True, most=1)
    pen.text(RULES_MARGIN, RULES_MARGIN + 0.14, heading, size=TEXT + 0.5, fontweight="bold")
    top = RULES_MARGIN + RULES_HEADING
    _draw_estimates(pen.axes(left, top, plot, TALL), frame, _scale(frame))
    at = top + TALL + 0.08
    for part, title in PARTS:
        pen.text(RULES_MARGIN, at + 0.16, title, fontweight="bold")
        pen.line((RULES_MARGIN, width - RULES_MARGIN), (at + 0.03, at + 0.03))
        at += RULES_HEADING
        for name, label in zip(names[part], labels[part], strict=True):
            middle = at + _tall(label) / 2
            pen.middle(RULES_MARGIN, middle, label, size=SMALL)
            _draw_marks(pen, frame, part, name, left, plot, middle)
            at += _tall(label)
    return sheet


def _nothing(width: float) -> Drawing:
    sheet = blank(width, RULES_HEADING + 2 * RULES_MARGIN)
    Pen(sheet).text(RULES_MARGIN, RULES_MARGIN + 0.14, "No ratio could be estimated in any way", fontweight="bold")
    return sheet


def _ingredients(row, part: str) -> tuple[str, ...]:
    """The rule, or each adjustment by itself."""
    value = str(getattr(row, part))
    return (value,) if part == "rule" else tuple(each for each in value.split(", ") if each != "nothing")


def _names(frame: pd.DataFrame, part: str) -> list[str]:
    """Everything that went into any estimate, in its order; within patients last."""
    order = list(
        dict.fromkeys(each for row in frame.sort_values(part).itertuples() for each in _ingredients(row, part))
    )
    return sorted(order, key=lambda each: each == WITHIN)


def _tall(label: str) -> float:
    return LINE * (1 + label.count("\n"))


def _pair(frame: pd.DataFrame) -> str:
    return f"{plain(frame['group'].iloc[0])} v {plain(frame['reference'].iloc[0])}"


def _scale(frame: pd.DataFrame) -> Scale:
    shown = frame[LIMITS].to_numpy(dtype=float)
    return logarithmic(shown[:, 0], shown[:, 1:].ravel(), label="ratio, log scale", reference=1.0)


def _draw_estimates(axes: Axes, frame: pd.DataFrame, scale: Scale) -> None:
    axes.set_yscale("log")
    axes.set_ylim(scale.low, scale.high)
    axes.set_xlim(-0.7, len(frame) - 0.3)
    ticks = scale.ticks_within(TALL)
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.set_yticks(ticks, [scale.tick_label(tick) for tick in ticks])
    axes.set_xticks([])
    axes.spines["bottom"].set_visible(False)
    for tick in ticks:
        axes.axhline(tick, color=RULE, linewidth=0.5, zorder=0)
    axes.axhline(1.0, color=INK, linewidth=0.9, zorder=1)
    for place, row in enumerate(frame.itertuples()):
        style = STYLES[0] if row.main else STYLES[4]
        look = {"color": style.colour if row.main else QUIET, "zorder": 3}
        if numbers.known(row.low):
            ends = [scale.clipped(row.low), scale.clipped(row.high)]
            axes.plot([place, place], ends, linewidth=1.6 if row.main else 0.9, solid_capstyle="butt", **look)
        face = style.colour if row.main else "white"
        axes.plot([place], [row.estimate], marker="o", markersize=4.6, markerfacecolor=face, markeredgewidth=1, **look)


def _draw_marks(pen: Pen, frame: pd.DataFrame, part: str, name: object, left, plot: float, middle: float) -> None:
    """A mark under every estimate into which this rule or adjustment went."""
    step = plot / (len(frame) + 0.4)
    pen.line((left, left + plot), (middle, middle), linewidth=0.4)
    for place, row in enumerate(frame.itertuples()):
        if name in _ingredients(row, part):
            x = left + (place + 0.7) * step
            colour = STYLES[0].colour if row.main else QUIET
            pen.line((x, x), (middle, middle), colour=colour, marker="s", markersize=3.6, linestyle="none")
