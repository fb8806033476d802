"""A figure: the drawing, what it shows in words, and the numbers that were drawn. It never computes any.

Makes the SVG that matplotlib writes smaller, without changing what is seen.
"""

from __future__ import annotations

import base64
import html
import io
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import singledispatch
from pathlib import Path

import pandas as pd
from matplotlib.figure import Figure as Drawing

from necrostats.errors import ReportError, unknown_choice
from necrostats.present import numbers
from necrostats.present.style import PRINT_DPI, SCREEN_DPI, WIDTHS, drawing
from necrostats.present.wording import not_presentable, plain
from necrostats.results import Result
from necrostats.shown import framed

_RULES = tuple(
    (re.compile(pattern), by)
    for pattern, by in (
        (rb"<!DOCTYPE[^>]*>\s*", b""),
        (rb"<!--.*?-->", b""),
        (rb"DejaVuSans-Bold-", b"b"),
        (rb"DejaVuSans-", b"d"),
        (rb'<use (xlink:href="#[bd][0-9a-f]+") transform="translate\(([-0-9.]+) 0\)"/>', rb'<use x="\2" \1/>'),
        (rb"\s*\n\s*", b"\n"),
        (rb"(?<=[0-9MLQCz]) ?\n(?=[0-9MLQCz\"-])", b" "),
        (rb"(?<=>)\n(?=<)", b""),
    )
)
_LONG = re.compile(rb"-?\d+\.\d{4,}")


def _short(number: re.Match[bytes]) -> bytes:
    return b"%.3f" % float(number[0])


def smaller(svg: bytes) -> bytes:
    """The same drawing without comments, blanks and needless digits (a thousandth of a point stays)."""
    for pattern, by in _RULES:
        svg = pattern.sub(by, svg)
    return _LONG.sub(_short, svg)


_NO_METADATA = {
    "svg": {"Date": None, "Creator": None, "Format": None, "Type": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
    "png": {"Software": None},
}


def check_width(width: str) -> float:
    """The width in inches of "column" or "page"; ChoiceError for anything else."""
    if width not in WIDTHS:
        raise unknown_choice("width", width, WIDTHS)
    return WIDTHS[width]


def written(content: bytes, target: Path) -> Path:
    """Write beside the path and move into place; ReportError where that cannot be."""
    beside = target.with_name(f".{target.name}.part")
    try:
        beside.write_bytes(content)
        beside.replace(target)
    except OSError as error:
        raise ReportError(f"{target} cannot be written ({error.strerror}). Choose another folder.") from error
    finally:
        beside.unlink(missing_ok=True)
    return target


@dataclass(frozen=True, kw_only=True, eq=False)
class Figure:
    """A drawing for the page, its alternative text, its caption and the numbers that were drawn.

    `redraw` makes the same drawing for another width in inches, so that the letters keep their size.
    """

    fig: Drawing = field(repr=False)
    alt: str
    caption: str
    data: pd.DataFrame = field(repr=False)
    redraw: Callable[[float], Drawing] | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        if not self.alt.strip():
            raise ValueError("a figure needs an alternative text")

    def image(self, kind: str, *, width: str = "page", dpi: int = PRINT_DPI) -> bytes:
        """The drawing as "svg", "png" or "pdf": the same bytes on every run."""
        if kind not in _NO_METADATA:
            raise unknown_choice("kind of image", kind, _NO_METADATA)
        inches = check_width(width)
        with drawing():
            sheet = self.redraw(inches) if self.redraw else self.fig
        return _bytes_of(sheet, kind, dpi)

    def save(self, path: str | Path, *, width: str = "page") -> Path:
        """Write the drawing to a .svg, .png or .pdf file for one column or the full page; returns the path."""
        target = Path(path)
        return written(self.image(target.suffix.lstrip(".").lower(), width=width), target)

    def _embedded(self, sheet: Drawing, attributes: str) -> str:
        """A drawing as an image that carries its own bytes."""
        width, height = (round(96 * inches) for inches in sheet.get_size_inches())
        code = base64.b64encode(_svg_of(sheet)).decode("ascii")
        alt = html.escape(" ".join(self.alt.split()))
        source = f"data:image/svg+xml;base64,{code}"
        return f'<img src="{source}" alt="{alt}" width="{width}" height="{height}"{attributes}>'

    def _repr_html_(self) -> str:
        """The drawing, and hidden beside it the same for a narrow screen, which a page may show in its place."""
        image = self._embedded(self.fig, ' class="wide"' if self.redraw else "")
        if self.redraw:
            with drawing():
                image += self._embedded(self.redraw(WIDTHS["column"]), ' class="narrow" hidden')
        table = data_table(self.data, f"Data of the figure: {self.caption}")
        details = f"<details><summary>The numbers in this figure</summary>{table}</details>"
        caption = f"<figcaption>{html.escape(self.caption)}</figcaption>" if self.caption else ""
        return framed(f"<figure>{image}{caption}{details}</figure>")

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict[str, object]:
        """HTML for the notebook and its export, the alternative text for the rest; an image only when asked for."""
        makers = {"text/html": self._repr_html_, "text/plain": lambda: self.alt, "image/png": self._repr_png_}
        wanted = set(include) if include else {"text/html", "text/plain"}
        return {kind: make() for kind, make in makers.items() if kind in wanted - set(exclude or ())}

    def _repr_png_(self) -> bytes:
        return self.image("png", dpi=SCREEN_DPI)


def _bytes_of(sheet: Drawing, kind: str, dpi: int) -> bytes:
    """A drawing as the bytes of a file: the same on every run."""
    written = io.BytesIO()
    with drawing():
        sheet.savefig(written, format=kind, dpi=dpi, metadata=_NO_METADATA[kind])
    return smaller(written.getvalue()) if kind == "svg" else written.getvalue()


def _svg_of(sheet: Drawing) -> bytes:
    return _bytes_of(sheet, "svg", PRINT_DPI)


def _written(value: object, name: str) -> str:
    if not numbers.known(value):
        return ""
    if isinstance(value, float) and math.isinf(value):
        return "no limit"
    if isinstance(value, float) and not value.is_integer():
        return f"{value:.4g}" if name != "n" else numbers.rounded(value, 1)
    return f"{value:.0f}" if isinstance(value, float) else plain(value)


def _cell(value: object, name: str, place: int) -> str:
    text = html.escape(_written(value, name))
    if place == 0:
        return f'<th scope="row">{text}</th>'
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return f'<td class="number">{text}</td>' if is_number else f"<td>{text}</td>"


def data_table(data: pd.DataFrame, caption: str) -> str:
    """The numbers of a figure as an accessible table; shares stay shares, as in the result."""
    head = "".join(f'<th scope="col">{html.escape(str(name).replace("_", " "))}</th>' for name in data.columns)
    columns = [data[name].astype(object).tolist() for name in data.columns]
    rows = "".join(
        "<tr>"
        + "".join(_cell(value, name, at) for at, (value, name) in enumerate(zip(row, data.columns, strict=True)))
        + "</tr>"
        for row in zip(*columns, strict=True)
    )
    title = f"<caption>{html.escape(caption)}</caption>"
    return f"<table>{title}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


@singledispatch
def chart(result: Result, **options) -> Figure:
    """The figure of a result: curves, or points with intervals. Options: `width` ("page" or "column")."""
    raise not_presentable(result)
