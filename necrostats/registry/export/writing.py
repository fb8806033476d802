"""Columns written as csv files, a whole column at a time."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.registry.defusing import MAY_START_A_FORMULA, defused

_QUOTED = re.compile(r'[,"\r\n]')
_NOT_PLAIN = {*',"', *MAY_START_A_FORMULA} - {"\n"}


def write_csv(path: Path, heading: Sequence[str], blocks: Iterable[Sequence[np.ndarray]]) -> Path:
    """A csv file that is safe to open in a spreadsheet: below its heading blocks of columns (n,) of text.

    It is written beside its name and moved into place.
    """
    unfinished = path.with_name(f".{path.name}.unfinished")
    with unfinished.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(_quoted(name) for name in heading) + "\n")
        for columns in blocks:
            file.writelines(map("%s\n".__mod__, map(",".join, zip(*map(_cells, columns), strict=True))))
    unfinished.replace(path)
    return path


def texts_of(values: pd.Series) -> np.ndarray:
    """A column as text: blank for unknown, yes and no, numbers without a needless .0."""
    known = values.notna().to_numpy(dtype=bool)
    texts = np.full(len(values), "", dtype=object)
    held = values[known]
    if pd.api.types.is_bool_dtype(held.dtype):
        texts[known] = np.where(held.to_numpy(dtype=bool), "yes", "no")
    elif pd.api.types.is_integer_dtype(held.dtype):
        texts[known] = list(map(str, held.to_numpy(dtype=np.int64).tolist()))
    elif pd.api.types.is_float_dtype(held.dtype):
        texts[known] = [repr(value).removesuffix(".0") for value in held.to_numpy(dtype=np.float64).tolist()]
    else:
        texts[known] = held.to_numpy(dtype=object)
    return texts


def _cells(texts: np.ndarray) -> np.ndarray:
    """Texts (n,) as the cells of a csv file: defused, and in quotation marks where they must be."""
    joined = "\n".join(texts)
    if joined.count("\n") < len(texts) and not any(sign in joined for sign in _NOT_PLAIN):
        return texts
    cells = {text: _quoted(defused(text)) for text in set(texts)}
    return np.array([cells[text] for text in texts], dtype=object)


def _quoted(text: str) -> str:
    return f"\"{text.replace(chr(34), chr(34) * 2)}\"" if _QUOTED.search(text) else text
