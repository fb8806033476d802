"""Reads the outside values and data sets kept in tests/external/data."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd

FOLDER = Path(__file__).resolve().parent.parent / "external" / "data"


def values(name: str):
    """The entries of one file of outside values; its source note stands beside them in the file."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))["entries"]


def data(name: str) -> pd.DataFrame:
    """One data set."""
    return pd.read_csv(FOLDER / f"{name}.csv")


def numbers(listed) -> np.ndarray:
    """A list of numbers with null for undefined, as floats with NaN; one number becomes a list of one."""
    listed = listed if isinstance(listed, list) else [listed]
    return np.array([np.nan if each is None else each for each in listed], dtype=float)
