"""Sums over patients that give a mean or a ratio with its Monte Carlo error, chunk by chunk."""

from __future__ import annotations

import numpy as np


class Ratio:
    """Σ numerator / Σ denominator over patients; the error is the delta method's, patients independent."""

    def __init__(self) -> None:
        self.n = 0
        self.x = self.m = self.xx = self.xm = self.mm = 0.0

    def add(self, numerator: np.ndarray, denominator: np.ndarray | float = 1.0) -> None:
        """Add one value (or 0/1) a patient."""
        x = np.asarray(numerator, dtype=float)
        m = np.broadcast_to(np.asarray(denominator, dtype=float), x.shape)
        self.n += len(x)
        self.x, self.m = self.x + x.sum(), self.m + m.sum()
        self.xx, self.xm, self.mm = self.xx + (x * x).sum(), self.xm + (x * m).sum(), self.mm + (m * m).sum()

    @property
    def value(self) -> float:
        """The ratio."""
        return self.x / self.m

    @property
    def error(self) -> float:
        """Its standard error."""
        ratio = self.value
        squares = self.xx - 2 * ratio * self.xm + ratio * ratio * self.mm
        return float(np.sqrt(max(squares, 0.0))) / self.m

    def as_json(self, *, per: float = 1.0) -> dict[str, float]:
        """Value and error, rounded to what they are worth."""
        return {"value": round(per * self.value, 6), "error": round(per * self.error, 6)}


def per_patient(who: np.ndarray, n: int, values: np.ndarray | None = None) -> np.ndarray:
    """The sum of `values` (or the count of rows) for each of n patients."""
    return np.bincount(who, weights=values, minlength=n)


def closed(value: float) -> dict[str, float]:
    """A value that needed no simulation."""
    return {"value": round(float(value), 6), "error": 0.0}
