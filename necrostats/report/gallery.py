"""The pictures of the README, drawn from the invented registry: `python -m necrostats.report.gallery`."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

from PIL import Image

from necrostats import bundled
from necrostats.measures import compare_yield, data_completeness, time_to_resolution
from necrostats.present import chart
from necrostats.registry.loading import read_registry
from necrostats.report.reporting import ready, write
from necrostats.results import Result

FOLDER = bundled.notebooks() / "gallery"
DPI, COLOURS = 130, 48


def pictures() -> dict[str, Result]:
    """What is drawn for each user, by the name of the file."""
    registry = read_registry(bundled.synthetic_registry() / "tidy")
    filled = data_completeness(registry)
    with_gaps = filled.frame[filled.frame["estimate"].lt(0.95)]
    return {
        "fellow": time_to_resolution(registry, by="infection"),
        "comparing_instruments": compare_yield(registry, reference="snare", primary="powered_debrider"),
        "data_manager": replace(filled, frame=with_gaps.reset_index(drop=True)),
    }


def draw(folder: Path = FOLDER) -> tuple[Path, ...]:
    """Write the pictures as PNG into a folder; returns their paths."""
    target = ready(folder)
    return tuple(write(_small(result), target / f"{name}.png") for name, result in pictures().items())


def _small(result: Result) -> bytes:
    """The figure as PNG in few colours, which a drawing needs no more of."""
    drawn, written = Image.open(io.BytesIO(chart(result).image("png", dpi=DPI))), io.BytesIO()
    drawn.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(written, "PNG", optimize=True)
    return written.getvalue()


if __name__ == "__main__":
    print(*draw(), sep="\n")
