"""Headings, sheets and words compared as people compare them: accents, case, line breaks and blanks forgiven."""

from __future__ import annotations

import unicodedata
from functools import lru_cache


@lru_cache(maxsize=16384)
def folded(name: str) -> str:
    """A name without accents, in lower case, every run of blanks or line breaks one blank."""
    letters = unicodedata.normalize("NFKD", name.casefold())
    bare = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return " ".join("".join(letter for letter in bare if unicodedata.category(letter) != "Cf").split())
