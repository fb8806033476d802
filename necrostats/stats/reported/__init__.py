"""Figures in print held against their counts."""

from necrostats.stats.reported.checking import ReportedCheck, check_reported
from necrostats.stats.reported.judging import ReportedItem

__all__ = ["ReportedCheck", "ReportedItem", "check_reported"]
