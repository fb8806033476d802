"""Figures in print held against their counts."""

from necrostats.stats.reported.checking import ReportedCheck, ReportedItem, check_reported

__all__ = ["ReportedCheck", "ReportedItem", "check_reported"]
