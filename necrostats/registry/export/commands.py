"""What the commands about exports say and write: `tidy`, `draft-layout`, and the example that `start` gives."""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path

import pandas as pd

from necrostats.registry.export.conservation import Counts
from necrostats.registry.export.layout_drafting import draft_layout
from necrostats.registry.export.layout_guide import layout_guide
from necrostats.registry.export.tidying import tidy
from necrostats.registry.messages import check_report, stops

EXAMPLE = Path(__file__).with_name("example_layout.toml")


def example_layout() -> str:
    """The text of a commented layout to begin with."""
    return EXAMPLE.read_text(encoding="utf-8")


def run_tidy(
    source: str, layout: str, to: str, *, accepted: Collection[str], say: Callable[[str], None], every: bool = False
) -> tuple[str, bool]:
    """Tidies an export; the report to print, and whether a finding stops."""
    made = tidy(source, layout, to, accepted=accepted, say=say)
    report = check_report(made, Path(source).resolve().name, every=every)
    written = "\n".join(f"  {path}" for path in made.files)
    return f"{status_line(made.counts, made.set_aside)}\n{report}\n\n{made.counts}\n\nwritten\n{written}", stops(made)


def status_line(counts: Counts, set_aside: pd.DataFrame) -> str:
    """What a tired person reads first."""
    rows = set_aside[set_aside["scope"] == "row"]
    return counts.status(len(rows.drop_duplicates(["file", "sheet", "row"])), rows["rule"].nunique())


def run_draft(export: str, accepted: Collection[str] = ()) -> str:
    """The proposed layout to print."""
    return draft_layout(export, accepted=accepted)


def run_guide() -> str:
    """The reference of a layout to print."""
    return layout_guide()
