"""Several tests taken together: their p-values, and the means that they compare.

Holm's are here as well as in statsmodels, whose import takes two seconds.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.stats import checks


def holm(p_values: ArrayLike) -> np.ndarray:
    """Holm's step-down p-values (n,), at most 1; tests that gave none (NaN) are passed over and stay NaN.

    Holm S. Scand J Stat 1979;6:65-70. Raises StatisticsError for a p below 0 or above 1.
    """
    p = np.atleast_1d(checks.numbers("p_values", p_values)).astype(float)
    checks.refuse("p_values", p, (p < 0) | (p > 1), "is not between 0 and 1.")
    adjusted = np.full(p.shape, np.nan)
    known = np.flatnonzero(~np.isnan(p))
    order = known[np.argsort(p[known], kind="stable")]
    adjusted[order] = np.minimum(1.0, np.maximum.accumulate(p[order] * np.arange(order.size, 0, -1)))
    return adjusted


ADJUSTMENTS = {
    "bonferroni": "bonferroni",
    "holm": "holm",
    "hochberg": "simes-hochberg",
    "benjamini-hochberg": "fdr_bh",
}


def adjusted_p(p_values: ArrayLike, *, method: str = "holm") -> np.ndarray:
    """p-values (n,) of tests taken together; tests that gave none (NaN) are passed over and stay NaN.

    `method` "bonferroni", "holm", "hochberg" (Biometrika 1988;75:800; tests not negatively related) or
    "benjamini-hochberg" (J R Stat Soc B 1995;57:289: the share of false findings, not the chance of one).
    """
    from statsmodels.stats.multitest import multipletests

    if method not in ADJUSTMENTS:
        raise unknown_choice("adjustment for several tests", method, ADJUSTMENTS)
    p = np.atleast_1d(checks.numbers("p_values", p_values)).astype(float)
    checks.refuse("p_values", p, (p < 0) | (p > 1), "is not between 0 and 1.")
    adjusted, known = np.full(p.shape, np.nan), ~np.isnan(p)
    if known.any():
        adjusted[known] = multipletests(p[known], method=ADJUSTMENTS[method])[1]
    return adjusted


def tukey_p(statistic: ArrayLike, groups: int, df: ArrayLike) -> np.ndarray:
    """p of each t (n,) of all pairs of so many groups: the studentized range at |t| √2, with `df` (n,) of each.

    Tukey JW 1953; Kramer CY. Biometrics 1956;12:307-310 for groups of different sizes.
    """
    t, freedom = checks.broadcast(t=checks.finite("statistic", statistic), df=checks.finite("df", df))
    if groups < 2:
        raise StatisticsError(f"groups is {groups}: there are no pairs of fewer than 2.")
    return stats.studentized_range.sf(np.sqrt(2) * np.abs(t), groups, freedom)


def dunnett_p(statistic: ArrayLike, correlation: ArrayLike, df: float, *, random: int = 1) -> np.ndarray:
    """p of each t (m,) of several groups against one reference, two-sided: P(the largest |t| of all passes this one).

    `correlation` (m, m) of the contrasts: one half throughout for groups of one size. One integral where it is of the
    form λᵢλⱼ, as it is for independent groups; else by seeded points, to about 1e-4. Dunnett CW. J Am Stat Assoc
    1955;50:1096-1121; Biometrics 1964;20:482-491.
    """
    t = np.abs(np.atleast_1d(checks.finite("statistic", statistic)))
    together = np.atleast_2d(checks.finite("correlation", correlation))
    if together.shape != (t.size, t.size) or not np.allclose(np.diagonal(together), 1):
        raise StatisticsError("correlation needs a row and a column for each t, and 1 on its diagonal.")
    freedom, loading, rng = checks.positive("df", df), _loadings(together), checks.seed(random)
    if loading is None:
        law = stats.multivariate_t(shape=together, df=freedom, seed=rng)
        return np.array([1 - law.cdf(np.full(t.size, each), lower_limit=np.full(t.size, -each)) for each in t])
    return np.array([1 - _all_within(each, loading, freedom) for each in t])


def _loadings(correlation: np.ndarray) -> np.ndarray | None:
    """λ (m,) with correlation λᵢλⱼ off the diagonal, if there are such; NaN-free and below 1."""
    m = len(correlation)
    if m == 1:
        return np.zeros(1)
    if m == 2:
        return np.sqrt(np.abs(correlation[0, 1])) * np.array([1.0, np.sign(correlation[0, 1]) or 1.0])
    squared = correlation[0, 1] * correlation[0, 2] / correlation[1, 2] if correlation[1, 2] else np.nan
    if not 0 < squared < 1:
        return None
    loading = np.append(np.sqrt(squared), correlation[0, 1:] / np.sqrt(squared))
    product = np.outer(loading, loading)
    np.fill_diagonal(product, 1.0)
    return loading if np.allclose(product, correlation, atol=1e-8) and (np.abs(loading) < 1).all() else None


def _all_within(limit: float, loading: np.ndarray, df: float) -> float:
    """P(every |tᵢ| ≤ limit): over the common part of the normals, then over the estimated standard deviation."""
    node, weight = np.polynomial.hermite_e.hermegauss(80)
    at, share = np.polynomial.legendre.leggauss(400)
    scale = np.sqrt(stats.chi2.ppf((at + 1) / 2, df) / df)
    own = np.sqrt(1 - loading**2)
    reach = limit * scale[:, None, None]
    centre = loading[None, None, :] * node[None, :, None]
    inside = special.ndtr((reach - centre) / own) - special.ndtr((-reach - centre) / own)
    given = inside.prod(axis=2) @ weight / weight.sum()
    return float(given @ share / 2)


def adjusted_means(fit, rows: ArrayLike, *, weights: ArrayLike | None = None, counts: ArrayLike | None = None) -> list:
    """For each level the mean of a fit over the other terms: `rows` (L, C, p), the design of L levels in C settings.

    Settings count alike, by `weights` (C,), or by how often each occurs, `counts` (C,): say which. Any fit with
    `contrast(vector)` will do. Searle SR, Speed FM, Milliken GA. Am Stat 1980;34:216-221.
    """
    design = checks.finite("rows", rows)
    if design.ndim != 3 or (weights is not None and counts is not None):
        raise StatisticsError("rows needs levels, settings and terms; give weights or counts, not both.")
    given = next((each for each in (weights, counts) if each is not None), np.ones(design.shape[1]))
    share = checks.not_negative("weights", given)
    checks.one_length(weights=share, settings=design[0, :, 0])
    return [fit.contrast(share @ level / share.sum()) for level in design]
