"""Draws step curves in panels: shaded intervals, labels at the lines, numbers at risk under the axis."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.lines import Line2D
from matplotlib.transforms import blended_transform_factory
from matplotlib.transforms import ScaledTranslation as Shift

from necrostats.present.figures import blank
from necrostats.present.labels import drawable, width_of, wrapped
from necrostats.present.placing import Sheet, measured, spread
from necrostats.present.style import INK, LINE, QUIET, RULE, SMALL, TEXT, Style


@dataclass(frozen=True, kw_only=True)
class Curve:
    """A right-continuous step curve with its interval, faint from the point where few are at risk."""

    label: str
    style: Style
    bold: bool
    x: tuple[float, ...]
    y: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    faint_from: float


@dataclass(frozen=True, kw_only=True)
class RiskRow:
    """The numbers at risk of one group, one for each tick."""

    label: str
    style: Style | None
    counts: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Panel:
    """Curves on one pair of axes; `behind` are drawn in grey."""

    title: str
    curves: tuple[Curve, ...]
    risk: tuple[RiskRow, ...]
    behind: tuple[Curve, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Panels on the same axes. `whole`: the axis counts whole things, so a step is drawn half a unit further."""

    panels: tuple[Panel, ...]
    ticks: tuple[int, ...]
    horizon: float
    whole: bool
    x_label: str
    y_label: str
    remarks: tuple[str, ...]
