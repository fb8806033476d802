"""Columns written as csv files that are safe to open in a spreadsheet, a whole column at a time."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.registry.defusing import defused

_QUOTED = re.compile(r'[,"\r\n]')
_DANGEROUS = re.compile(r"^[^\w\n]", re.MULTILINE)


def write_csv(path: Path, heading: Sequence[str], blocks: Iterable[Sequence[np.ndarray]]) -> Path:
    """A csv file: below its heading blocks of columns (n,) of text. Written beside its name and moved into place."""
    unfinished = path.with_name(f".{path.name}.unfinished")
    with unfinished.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(_quoted(name) for name in heading) + "\n")
        for columns in blocks:
            file.writelines(map("%s\n".__mod__, map(",".join, zip(*map(_all_quoted, columns), strict=True))))
    unfinished.replace(path)
    return path


def texts_of(values: pd.Series) -> np.ndarray:
    """A column as text: blank for unknown, yes and no, numbers without a needless .0, the rest defused."""
    known = values.notna().to_numpy(dtype=bool)
    texts = np.full(len(values), "", dtype=object)
    held = values[known]
    if isinstance(held.dtype, pd.CategoricalDtype) or pd.api.types.is_string_dtype(held.dtype) or held.dtype == object:
        texts[known] = all_defused(held.to_numpy(dtype=object))
    elif pd.api.types.is_bool_dtype(held.dtype):
        texts[known] = np.where(held.to_numpy(dtype=bool), "yes", "no")
    elif pd.api.types.is_integer_dtype(held.dtype):
        texts[known] = [str(value) for value in held]
    else:
        texts[known] = [repr(float(value)).removesuffix(".0") for value in held]
    return texts


def all_defused(texts: np.ndarray) -> np.ndarray:
    """Texts (n,), each as `defused` makes it."""
    return _each(texts, defused) if _DANGEROUS.search("\n".join(texts)) else texts


def _all_quoted(texts: np.ndarray) -> np.ndarray:
    joined = "\n".join(texts)
    plain = joined.count("\n") < len(texts) and not any(sign in joined for sign in ',"\r')
    return texts if plain else _each(texts, _quoted)


def _quoted(text: str) -> str:
    return f"\"{text.replace(chr(34), chr(34) * 2)}\"" if _QUOTED.search(text) else text


def _each(texts: np.ndarray, change: Callable[[str], str]) -> np.ndarray:
    """The texts after a change, worked out once for each different one."""
    changed = {text: change(text) for text in set(texts)}
    return np.array([changed[text] for text in texts], dtype=object)
