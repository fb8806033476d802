"""What must not be shown in anything that is kept: calendar dates, and ages of 90 and over."""

from __future__ import annotations

import re

from necrostats.registry.days import MONTHS
from necrostats.registry.text import folded
from necrostats.registry.tidy_cells import OLDEST

WITHHELD = "value withheld"

_NAMES = "|".join(sorted(MONTHS, key=len, reverse=True))
_DATE = re.compile(
    r"(?<![0-9])(?:[0-9]{1,4}\s?[./\-]\s?[0-9]{1,2}\s?[./\-]\s?[0-9]{2,4}(?![0-9])"
    r"|(?:19|20)[0-9]{2}[./\-][0-9]{1,2}(?![0-9])|[0-9]{1,2}[./\-](?:19|20)[0-9]{2}(?![0-9])"
    r"|(?:19|20)[0-9]{2}(?:0[1-9]|1[0-2])[0-3][0-9](?![0-9]))"
    rf"|(?<![^\W\d_])(?:{_NAMES})\.?(?![^\W\d_])[ '’.\-/]*[0-9]{{1,4}}"
    rf"|[0-9]{{1,2}}(?:st|nd|rd|th)?(?: of)?[ .\-/]*(?:{_NAMES})(?![^\W\d_])",
    re.IGNORECASE,
)


def holds_date(text: str) -> bool:
    """Whether a text holds anything like a calendar date or a month of a year."""
    return len(text) > 3 and (_DATE.search(text) or _DATE.search(folded(text))) is not None


def holds_old_age(text: str) -> bool:
    """Whether a cell in a column of ages holds a number of 90 or over."""
    return any(int(number[:9]) >= OLDEST for number in re.findall(r"[0-9]+", text))


def shown(text: str, withheld: bool = False) -> str:
    """A cell as it may be shown."""
    return WITHHELD if withheld or holds_date(text) else text
