"""Makes the SVG that matplotlib writes smaller, without changing what is seen."""

from __future__ import annotations

import re

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
