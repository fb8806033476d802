"""Calendar quarters ("2026Q3") and private sequential periods ("P07"): ordered labels, never dates."""

from __future__ import annotations

import re

from necrostats.errors import ChoiceError

_QUARTER = re.compile(r"(\d{4})Q([1-4])")
_SEQUENTIAL = re.compile(r"P(\d{2,9})")
_RANGE = re.compile(r"(.+?)\.\.(.+)")
_YEAR = re.compile(r"(\d{4})")
_MISSPELT = (
    (re.compile(r"(?P<year>\d{4})[\s./-]*[qt][\s.-]*(?P<quarter>[1-4])", re.IGNORECASE), "{year}Q{quarter}"),
    (re.compile(r"[qt][\s.-]*(?P<quarter>[1-4])[\s./-]*(?P<year>\d{4})", re.IGNORECASE), "{year}Q{quarter}"),
    (re.compile(r"p[\s.-]*(?P<number>\d{1,9})", re.IGNORECASE), "P{number:0>2}"),
    (_YEAR, "{0}Q1..{0}Q4"),
)


def is_period(label: object) -> bool:
    """Whether a text is a period label."""
    return isinstance(label, str) and bool(_QUARTER.fullmatch(label) or _SEQUENTIAL.fullmatch(label))


def ordinal(label: str) -> int:
    """The place of a period in its own sequence; ChoiceError for anything else."""
    if quarter := _QUARTER.fullmatch(label):
        return int(quarter[1]) * 4 + int(quarter[2]) - 1
    if sequential := _SEQUENTIAL.fullmatch(label):
        return int(sequential[1])
    raise ChoiceError(f'"{label}" is not a period. {_spelling(label)}')


def _spelling(label: str) -> str:
    """How to write what was probably meant."""
    for pattern, right in _MISSPELT:
        if meant := pattern.fullmatch(label.strip()):
            return f"Write {right.format(*meant.groups(), **meant.groupdict())}."
    return "Write a quarter as 2026Q3, with its year, or a private period as P07."


def _label_like(example: str, place: int) -> str:
    return f"{place // 4}Q{place % 4 + 1}" if _QUARTER.fullmatch(example) else f"P{place:02d}"


def span(first: str, last: str) -> tuple[str, ...]:
    """Every period from first to last; ChoiceError if they are of two kinds or run backwards."""
    if bool(_QUARTER.fullmatch(first)) != bool(_QUARTER.fullmatch(last)):
        raise ChoiceError(f'"{first}" and "{last}" are periods of two kinds.')
    low, high = ordinal(first), ordinal(last)
    if low > high:
        raise ChoiceError(f'"{first}..{last}" runs backwards.')
    return tuple(_label_like(first, place) for place in range(low, high + 1))


def parse(period: str) -> tuple[str, ...]:
    """The periods meant by "2026Q3", or by "2025Q4..2026Q3", both ends included."""
    whole = str(period).strip()
    if ends := _RANGE.fullmatch(whole):
        return span(ends[1].strip(), ends[2].strip())
    ordinal(whole)
    return (whole,)
