"""Counts in words, in the singular and the plural."""

from __future__ import annotations


def counted(number: int, one: str, many: str) -> str:
    """ "1 patient was", "2,000 patients were"."""
    return f"{number:,} {one if number == 1 else many}"
