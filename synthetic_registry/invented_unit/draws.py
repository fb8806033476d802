"""Random draws made only from uniforms and normals, so that one seed gives one registry everywhere."""

from __future__ import annotations

import numpy as np

from invented_unit.parameters import Mix
from necrostats.registry.codebook import TABLES

FAR = 1_000_000
BLANK = -99_999


def codes(table: str, column: str) -> tuple[str, ...]:
    """The codes of a column, from the codebook."""
    return TABLES[table].column(column).codes


def code(table: str, column: str, name: str) -> int:
    """The place of a code in its list."""
    return codes(table, column).index(name)


def expit(x: np.ndarray) -> np.ndarray:
    """The logistic function."""
    return 1.0 / (1.0 + np.exp(-x))


def logit(p: float) -> float:
    """The log odds."""
    return float(np.log(p / (1.0 - p)))


class Draws:
    """A stream of random numbers for one chunk of patients."""

    def __init__(self, seed: np.random.SeedSequence) -> None:
        self._rng = np.random.Generator(np.random.PCG64(seed))

    def uniform(self, *shape: int) -> np.ndarray:
        """Uniform on [0, 1)."""
        return self._rng.random(shape)

    def normal(self, *shape: int) -> np.ndarray:
        """Standard normal."""
        return self._rng.standard_normal(shape)

    def chance(self, p, *shape: int) -> np.ndarray:
        """True with probability `p`."""
        return self.uniform(*shape) < p

    def whole(self, low: int, high: int, *shape: int) -> np.ndarray:
        """A whole number from `low` to `high`, both included."""
        return low + np.floor(self.uniform(*shape) * (high - low + 1)).astype(np.int64)

    def wait(self, mean: float, *shape: int) -> np.ndarray:
        """Whole days, at least 1, of an exponential waiting time."""
        return np.ceil(-mean * np.log1p(-self.uniform(*shape))).astype(np.int64).clip(1)

    def pick(self, mix: Mix, listed: tuple[str, ...], *shape: int) -> np.ndarray:
        """Places in `listed`, drawn with the shares of `mix`."""
        shares = np.cumsum([share for _, share in mix])
        places = np.array([listed.index(name) for name, _ in mix], dtype=np.int8)
        drawn = np.searchsorted(shares[:-1], self.uniform(*shape), side="right")
        return places[drawn]

    def blanked(self, values: np.ndarray, share: float, blank=-1) -> np.ndarray:
        """The values with a share of them blank."""
        return np.where(self.chance(share, len(values)), blank, values)
