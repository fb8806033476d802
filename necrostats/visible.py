"""Text of a registry as it may be shown: nothing that a reader cannot see, and nothing that turns what follows."""

from __future__ import annotations

import re

_UNSEEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028\u2029\u202a-\u202e\u2060-\u206f\ud800-\udfff\ufeff\ufff0-\uffff]"
)


def visible(text: str) -> str:
    """The text with every control sign, and every mark that turns the direction of writing, written out: "[U+202E]"."""
    return text if text.isascii() and text.isprintable() else _UNSEEN.sub(_written_out, text)


def _written_out(sign: re.Match[str]) -> str:
    return f"[U+{ord(sign[0]):04X}]"
