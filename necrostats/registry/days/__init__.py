"""Dates as written to whole days from the index drainage; nothing that leaves here holds a calendar date.

`read_date` reads a cell to the first and last day it can mean; `offset` turns that into days from the index
drainage, `quarter` into a label, and `sequential_periods` hides the quarters behind P01, P02 …
"""

from __future__ import annotations

from necrostats.registry.days.offsets import Offset, offset, plausible, quarter, sequential_periods
from necrostats.registry.days.ranges import DateRange
from necrostats.registry.days.reading import read_date
from necrostats.registry.days.serials import from_serial, precision_shown

__all__ = [
    "DateRange",
    "Offset",
    "from_serial",
    "offset",
    "plausible",
    "precision_shown",
    "quarter",
    "read_date",
    "sequential_periods",
]
