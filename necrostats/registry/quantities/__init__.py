"""Amounts as people type them, read whole or not at all.

`read_quantity` reads a yield ("~250 cc", "200-300", ">500", "1.2 L out (1 L in)", "minimal"), `read_axes` a
size ("12x10x8"), `read_number`, `read_count` and `read_minutes` a cell that should hold one number. None of them
raises on anything written in a cell; what they cannot read whole they do not read, and say why.
"""

from __future__ import annotations

from necrostats.registry.quantities.amounts import Quantity, read_quantity
from necrostats.registry.quantities.numbers import Axes, Number, read_axes, read_count, read_minutes, read_number
from necrostats.registry.text import is_blank, keeps_text, points_elsewhere

__all__ = [
    "Axes",
    "Number",
    "Quantity",
    "is_blank",
    "keeps_text",
    "points_elsewhere",
    "read_axes",
    "read_count",
    "read_minutes",
    "read_number",
    "read_quantity",
]
