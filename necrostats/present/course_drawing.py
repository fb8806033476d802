"""Draws patient courses: a key in words, then a line for each patient, in one block or in two side by side.

How each kind of record looks on a patient's line: told apart by shape, filling and place as well as by colour.

Blue is endoscopy, purple other treatment, vermillion an adverse event, green resolution, black an end or none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing

from necrostats.definitions.adverse_events import AGREE
from necrostats.present.drawing import Pen, blank, width_of, wrapped
from necrostats.present.style import INK, LINE, QUIET, RULE, SMALL, STYLES, TEXT
from necrostats.results import Courses

BLUE, VERMILLION, GREEN, PURPLE, BLACK = (style.colour for style in STYLES)
ABOVE, ON, BELOW, LOWEST = -0.28, 0.0, 0.27, 0.42  # the lanes of a line, as shares of its height; down is positive

METAL = ("lumen_apposing", "self_expanding_metal")


@dataclass(frozen=True, kw_only=True)
class Look:
    """A mark: the words of the key, its lane, and a marker; or a bar, where `bar` gives its thickness and dashes."""

    words: str
    colour: str
    lane: float = ON
    marker: str = ""
    filled: bool = True
    size: float = 1.0
    bar: float = 0.0
    dashes: object = "-"
    top: int = 4


SERIOUS = f"AGREE {AGREE.serious_from} or higher"
LOOKS = {
    "drainage": Look(words="drainage", colour=BLUE, marker="v", filled=False, size=1.35),
    "necrosectomy": Look(words="necrosectomy", colour=BLUE, marker="o", top=5),
    "other session": Look(words="other endoscopy session", colour=BLUE, marker="o", filled=False, size=0.7),
    "metal": Look(words="metal stent in place", colour=BLUE, lane=BELOW, bar=0.17, top=2),
    "plastic": Look(words="plastic stent or nasal drain in place", colour=BLUE, lane=LOWEST, bar=0.06, top=3),
    "percutaneous": Look(
        words="drain through the skin in place", colour=PURPLE, lane=LOWEST, bar=0.08, dashes=(0, (2, 1)), top=3
    ),
    "unknown end": Look(words="stent placed, day out not known", colour=BLUE, lane=BELOW, marker="4", size=1.1),
    "scan": Look(words="scan", colour=INK, marker="|", size=1.25, top=3),
    "serious": Look(words=f"adverse event, {SERIOUS}", colour=VERMILLION, lane=ABOVE, marker="D", size=0.85, top=7),
    "milder": Look(
        words="adverse event, milder", colour=VERMILLION, lane=ABOVE, marker="D", filled=False, size=0.8, top=6
    ),
    "ungraded": Look(words="adverse event, no grade", colour=VERMILLION, lane=ABOVE, marker="x", size=0.8, top=6),
    "surgery": Look(words="surgery", colour=PURPLE, marker="*", size=1.6, top=8),
    "percutaneous drain": Look(words="percutaneous drain", colour=PURPLE, marker="p", filled=False, size=1.3, top=8),
    "other intervention": Look(words="other intervention", colour=PURPLE, lane=ABOVE, marker="+", top=5),
    "resolved": Look(words="resolution documented", colour=GREEN, marker="s", size=1.15, top=8),
    "death": Look(words="death", colour=BLACK, marker="X", size=1.4, top=9),
    "open": Look(words="unresolved and still followed", colour=BLACK, marker=">", size=1.3, top=8),
    "lost": Look(words="unresolved, lost to view", colour=BLACK, marker=">", filled=False, size=1.3, top=8),
}
_SAME = (
    "drainage",
    "necrosectomy",
    "other session",
    "scan",
    "surgery",
    "percutaneous drain",
    "other intervention",
    "resolved",
    "death",
)


def marks(result: Courses, until: int) -> pd.DataFrame:
    """What is drawn of the records up to a day: patient, look, x, x_to (blank for a mark with one day), grade."""
    table = result.frame
    what = table["what"].astype(object)
    look = what.where(what.isin(_SAME), "")
    look = look.mask(what == "stent", _stent_looks(table)).mask(what == "adverse event", _event_looks(table))
    look = look.mask(what == "course", _way_of_not_ending(table))
    day, day_to = table["day"].astype("float64"), table["day_to"].astype("float64")
    is_course = (what == "course").to_numpy()
    drawn = pd.DataFrame(
        {
            "patient": table["patient"],
            "look": look,
            "x": np.where(is_course, day_to, day),
            "x_to": np.where(is_course, np.nan, day_to),
            "grade": table["grade"].astype(object),
        }
    )
    inside = (drawn["look"] != "") & (drawn["x"] >= 0) & (drawn["x"] <= until)
    return drawn[inside].assign(x_to=drawn["x_to"].clip(upper=until))


def spans(result: Courses, until: int) -> pd.DataFrame:
    """The line of each patient: patient, whether it is the course or what followed it, from and to."""
    kept = result.frame[result.frame["what"].isin(["course", "follow-up"])]
    spans = pd.DataFrame(
        {
            "patient": kept["patient"],
            "is_course": kept["what"] == "course",
            "x": kept["day"].astype("float64"),
            "x_to": kept["day_to"].astype("float64").clip(upper=until),
        }
    )
    return spans[spans["x"] <= until]


def undrawn(result: Courses, patients: list[int], until: int) -> tuple[int, int]:
    """How many records of these patients lie before day 0, and how many after the last day drawn."""
    table = result.frame
    dated = table[table["patient"].isin(patients) & ~table["what"].isin(["course", "follow-up"])]
    return int((dated["day"] < 0).sum()), int((dated["day"] > until).sum())


def is_open(outcome: pd.Series) -> pd.Series:
    """Whether a course has not ended: still under treatment, or unresolved at the horizon."""
    names = outcome.astype(object).astype(str)
    return names.str.startswith("unresolved at day") | (names == "still under treatment")


def _stent_looks(table: pd.DataFrame) -> pd.Series:
    kind = table["detail"]
    looks = pd.Series("plastic", index=table.index, dtype=object).mask(kind.isin(METAL).to_numpy(bool), "metal")
    looks = looks.mask((kind == "percutaneous").fillna(False).to_numpy(bool), "percutaneous")
    return looks.mask(table["day_to"].isna().to_numpy(bool), "unknown end")


def _event_looks(table: pd.DataFrame) -> pd.Series:
    grade = table["grade"].astype(object)
    looks = pd.Series("milder", index=table.index, dtype=object)
    return looks.mask(grade.isin(AGREE.at_least(AGREE.serious_from)), "serious").mask(grade.isna(), "ungraded")


def _way_of_not_ending(table: pd.DataFrame) -> pd.Series:
    looks = pd.Series("", index=table.index, dtype=object).mask(is_open(table["outcome"]), "open")
    return looks.mask(table["outcome"].astype(object).astype(str).str.startswith("lost to view"), "lost")


MARGIN = 0.06
HEAD = 0.2
GAP = 0.28
KEY_SAMPLE = 0.24
ROWS = ((25, 0.21), (60, 0.14), (10**9, 0.105))  # up to so many patients in a block, so many inches each
FAR_BELOW = 0.2
NARROW = 5.0
MOST_IN_ONE_BLOCK = 50
GRADED_FROM = 0.2
GRADE_SIZE = 5.8
FOLLOWED = "#9A9A9A"


@dataclass(frozen=True, kw_only=True)
class Section:
    """Patients under one heading, in their order."""

    title: str
    patients: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """What is drawn: sections, marks and spans (see course_marks), how many of each look, the last day, remarks."""

    sections: tuple[Section, ...]
    marks: pd.DataFrame
    spans: pd.DataFrame
    counts: dict[str, int]
    until: int
    remarks: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Block:
    """Headings (their baseline) and patients (the middle of their line), in inches down from the top of the block."""

    titles: dict[float, str]
    lines: dict[int, float]
    height: float


def _row_height(patients: int) -> float:
    return next(height for most, height in ROWS if patients <= most)


def _blocks(sections: tuple[Section, ...], row: float, count: int) -> list[_Block]:
    """The sections in `count` blocks of about the same height; one that runs on says so."""
    total = sum(len(section.patients) * row + HEAD for section in sections)
    blocks, titles, lines, at = [], {}, {}, 0.0
    for section in sections:
        title = section.title
        for place, patient in enumerate(section.patients):
            if lines and at >= total / count and len(blocks) < count - 1:
                blocks.append(_Block(titles=titles, lines=lines, height=at))
                titles, lines, at = {}, {}, 0.0
                title = f"{section.title}, continued" if place else section.title
            if title:
                titles[at + HEAD - 0.06] = title
                at, title = at + HEAD, ""
            lines[patient] = at + row / 2
            at += row
    return [*blocks, _Block(titles=titles, lines=lines, height=max(at, 2 * LINE))]


def _key_lines(counts: dict[str, int], width: float) -> list[list[tuple[str, str]]]:
    """The looks that occur, each with its words and number, in lines no wider than the sheet."""
    lines, used = [[]], 0.0
    for name in (name for name in LOOKS if counts.get(name)):
        text = f"{LOOKS[name].words} ({counts[name]:,})"
        wide = KEY_SAMPLE + width_of(text, SMALL) + 0.16
        if lines[-1] and used + wide > width - 2 * MARGIN:
            lines.append([])
            used = 0.0
        lines[-1].append((name, text))
        used += wide
    return lines


def _dot(axes: Axes, x, y, look: Look, points: float, zorder: float) -> None:
    """Markers; hollow ones are white inside, and all have a thin white edge to stand off each other."""
    is_stroke = look.marker in "|x+4"
    filled = look.colour if look.filled else "white"
    edge = "white" if look.filled and not is_stroke else look.colour
    axes.plot(
        x,
        y,
        linestyle="none",
        marker=look.marker,
        markersize=points * look.size,
        clip_on=False,
        zorder=zorder,
        color=look.colour,
        markerfacecolor=filled,
        markeredgecolor=edge,
        markeredgewidth=0.3 if edge == "white" else max(0.55, points * 0.17),
    )


def _marker_points(row: float) -> float:
    return min(5.4, max(3.0, row * 72 * 0.37))


def _draw_key(pen: Pen, lines: list[list[tuple[str, str]]], top: float, row: float) -> None:
    axes = pen.axes(0, 0, pen.width, pen.height)
    axes.set_axis_off()
    axes.set_xlim(0, pen.width)
    axes.set_ylim(pen.height, 0)
    for place, line in enumerate(lines):
        x, y = MARGIN, top + (place + 0.5) * LINE * 1.1
        for name, text in line:
            look = LOOKS[name]
            if look.bar:
                axes.hlines(
                    y, x, x + KEY_SAMPLE - 0.06, color=look.colour, linewidth=look.bar * row * 72, linestyle=look.dashes
                )
            else:
                _dot(axes, [x + 0.09], [y], look, max(4.2, _marker_points(row)), 3)
            pen.middle(x + KEY_SAMPLE, y, text, size=SMALL)
            x += KEY_SAMPLE + width_of(text, SMALL) + 0.16


def _ticks(until: int) -> list[int]:
    step = next(step for step in (10, 30, 60, 90, 180, 360, 720, 10**6) if until / step <= 7)
    return list(range(0, until + 1, step))


def _axes(pen: Pen, left: float, top: float, width: float, block: _Block, until: int) -> Axes:
    axes = pen.axes(left, top, width, block.height)
    axes.set_xlim(-0.025 * until, 1.025 * until)
    axes.set_ylim(block.height, 0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xticks(_ticks(until))
    axes.tick_params(top=True, labeltop=block.height > 5)
    axes.set_axisbelow(True)
    axes.grid(axis="x", color=RULE, linewidth=0.4)
    return axes


def _draw_spans(axes: Axes, spans: pd.DataFrame, block: _Block) -> None:
    y = spans["patient"].map(block.lines)
    for is_course, colour, heavy in ((False, FOLLOWED, 0.4), (True, INK, 0.8)):
        kept = spans["is_course"] == is_course
        axes.hlines(y[kept], spans.loc[kept, "x"], spans.loc[kept, "x_to"], color=colour, linewidth=heavy, zorder=1)


def _draw_marks(axes: Axes, marks: pd.DataFrame, block: _Block, row: float) -> None:
    for name, rows in marks.groupby("look", sort=False):
        look = LOOKS[name]
        y = rows["patient"].map(block.lines) + look.lane * row
        if look.bar:
            axes.hlines(
                y,
                rows["x"],
                rows["x_to"],
                color=look.colour,
                linewidth=look.bar * row * 72,
                linestyle=look.dashes,
                zorder=look.top,
            )
            continue
        ranged = (rows["x_to"] > rows["x"]).to_numpy()
        axes.hlines(
            y[ranged],
            rows["x"][ranged],
            rows["x_to"][ranged],
            color=look.colour,
            linewidth=0.7,
            linestyle=(0, (1, 1)),
            zorder=look.top,
        )
        _dot(axes, rows["x"].to_numpy(), y.to_numpy(), look, _marker_points(row), look.top)


def _grade_labels(marks: pd.DataFrame, near: float) -> list[tuple[int, float, str]]:
    """(patient, day, grades) of adverse events; those of one patient closer than `near` days share one label."""
    graded = marks[marks["look"].isin(["serious", "milder"])].sort_values(["patient", "x"], kind="stable")
    labels: list[tuple[int, float, str]] = []
    for event in graded.itertuples():
        if labels and labels[-1][0] == event.patient and event.x - labels[-1][1] < near:
            labels[-1] = (event.patient, event.x, f"{labels[-1][2]}, {event.grade}")
        else:
            labels.append((event.patient, event.x, event.grade))
    return labels


def _draw_grades(axes: Axes, marks: pd.DataFrame, block: _Block, row: float, near: float) -> None:
    """The grade beside each adverse event, where the lines are far enough apart to hold it."""
    for patient, day, text in _grade_labels(marks, near):
        axes.annotate(
            text,
            (day, block.lines[patient] - 0.3 * row),
            xytext=(3.4, 0),
            textcoords="offset points",
            fontsize=GRADE_SIZE,
            va="center",
            color=INK,
            zorder=10,
        )


def _draw_block(pen: Pen, sheet: Sheet, block: _Block, at: tuple[float, float, float], row: float) -> None:
    """`at`: left edge and top of the axes, and their width."""
    left, top, width = at
    axes = _axes(pen, left, top, width, block, sheet.until)
    _draw_spans(axes, sheet.spans[sheet.spans["patient"].isin(list(block.lines))], block)
    marks = sheet.marks[sheet.marks["patient"].isin(list(block.lines))]
    _draw_marks(axes, marks, block, row)
    if row >= GRADED_FROM:
        near = (0.05 + width_of("IIIb, ", GRADE_SIZE)) / width * 1.05 * sheet.until
        _draw_grades(axes, marks, block, row, near)
    for down, title in block.titles.items():
        text = wrapped(title, width, TEXT, bold=True, most=1)
        look = {"fontweight": "bold", "bbox": {"facecolor": "white", "edgecolor": "none", "pad": 0.6}}
        pen.text(left + 0.02, top + down, text, **look)
    starts = {next(iter(block.lines), 0)}
    for patient, down in block.lines.items():
        if row >= 0.13 or patient in starts or patient % 5 == 0:
            pen.middle(left - 0.05, top + down, str(patient), size=SMALL if row >= 0.13 else 6, color=QUIET, ha="right")


def draw(sheet: Sheet, width: float) -> Drawing:
    """The lines of a sheet so many inches wide and as high as they need."""
    patients = sum(len(section.patients) for section in sheet.sections)
    side_by_side = 2 if width >= NARROW and patients > MOST_IN_ONE_BLOCK else 1
    row = _row_height(-(-patients // side_by_side))
    blocks = _blocks(sheet.sections, row, side_by_side)
    key = _key_lines(sheet.counts, width)
    remarks = "\n".join(wrapped(remark, width - 2 * MARGIN, SMALL) for remark in sheet.remarks)
    label = wrapped("Patient", 0.6, SMALL)
    head = MARGIN + len(key) * LINE * 1.1 + 0.3
    tallest = max(block.height for block in blocks)
    foot = FAR_BELOW + LINE + (remarks.count("\n") + 1 if remarks else 0) * LINE + 0.1
    pen = Pen(blank(width, head + tallest + foot + MARGIN))
    _draw_key(pen, key, MARGIN, row)
    left = MARGIN + max(width_of(str(patients), SMALL), width_of(label, SMALL)) + 0.08
    wide = (width - MARGIN - left * len(blocks) - GAP * (len(blocks) - 1)) / len(blocks)
    for place, block in enumerate(blocks):
        start = left + place * (wide + GAP + left)
        pen.text(start - 0.05, head - 0.06, label, size=SMALL, color=QUIET, ha="right")
        _draw_block(pen, sheet, block, (start, head, wide), row)
    pen.middle(
        (left + width - MARGIN) / 2, head + tallest + FAR_BELOW + LINE / 2, "Days from index drainage", ha="center"
    )
    if not patients:
        pen.middle((left + width) / 2, head + tallest / 2, "Nobody", color=QUIET, ha="center")
    pen.text(MARGIN, head + tallest + FAR_BELOW + 2 * LINE + 0.04, remarks, size=SMALL, color=QUIET)
    return pen.sheet
