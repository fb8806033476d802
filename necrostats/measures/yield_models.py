"""The models behind a ratio of yields: classes pooled, classes adjusted for, and patients as their own controls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from necrostats.results import Note
from necrostats.stats.clusters import places
from necrostats.stats.ranged_intercept import RangedFit, ranged_intercept

FEWEST_ROWS_A_TERM = 5
ROUNDING = 1e-8
POOLED, INTERCEPT, WITHIN = "pooled", "intercept", "within"


@dataclass(frozen=True, kw_only=True, eq=False)
class Rows:
    """What a model takes: values from `low` to `high` (n,), indicators of classes (n, c), covariates (n, k), patients.

    `divided`: several rows come from one session, so that only errors summed by patient are right.
    """

    low: np.ndarray
    high: np.ndarray
    classes: np.ndarray
    covariates: np.ndarray
    patient: np.ndarray
    divided: bool = False

    @property
    def exact(self) -> bool:
        """Whether every value is one number."""
        return bool((self.low == self.high).all())


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One class minus another on the scale of the model, with t limits; NaN where it cannot be estimated."""

    estimate: float = np.nan
    error: float = np.nan
    df: float = np.nan
    low: float = np.nan
    high: float = np.nan
    statistic: float = np.nan
    p_value: float = np.nan


@dataclass(frozen=True, kw_only=True, eq=False)
class YieldModel:
    """A fitted model: `against` compares two of its classes; `spread` is the standard deviation of single values."""

    design: np.ndarray
    kept: np.ndarray
    coefficient: np.ndarray
    covariance: np.ndarray
    df: float
    first_class: int
    classes: int
    level: float
    spread: float
    estimator: str
    notes: tuple[Note, ...] = ()

    def against(self, one: int, other: int | None = None) -> Difference:
        """Class `one` minus class `other`, by their places among the classes; None is the one without a column."""
        vector = np.zeros(self.design.shape[1])
        vector[self.first_class + one] += 1
        if other is not None:
            vector[self.first_class + other] -= 1
        if not _estimable(self.design, vector) or np.isnan(self.coefficient).any():
            return Difference()
        by = vector[self.kept]
        estimate, error = float(by @ self.coefficient), float(np.sqrt(by @ self.covariance @ by))
        return limits(estimate, error, self.df, self.level)


def limits(estimate: float, error: float, df: float, level: float) -> Difference:
    """A difference with its t limits and p-value; without limits where there is no error."""
    if not error > ROUNDING or not df > 0:
        return Difference(estimate=estimate)
    half, t = special.stdtrit(df, (1 + level) / 2) * error, estimate / error
    return Difference(
        estimate=estimate,
        error=error,
        df=df,
        low=estimate - half,
        high=estimate + half,
        statistic=t,
        p_value=float(2 * special.stdtr(df, -abs(t))),
    )


def yield_model(rows: Rows, kind: str, level: float) -> YieldModel:
    """The model of one `kind`: "pooled" (no covariates, errors by patient), "intercept" (covariates and an intercept
    a patient) or "within" (as "intercept", every column split into the patient's mean and the deviation from it).
    """
    design, first = _design(rows, kind)
    kept = _independent(design)
    terms = int(kept.sum())
    if rows.low.size < FEWEST_ROWS_A_TERM * terms:
        return _refused(rows, design, kept, first, level, _too_many(rows.low.size, terms))
    fit = ranged_intercept(rows.low, rows.high, design[:, kept], rows.patient, spread=kind != POOLED)
    return _modelled(rows, design, kept, first, kind, fit, level)


def _design(rows: Rows, kind: str) -> tuple[np.ndarray, int]:
    """Ones, covariates, then classes, the last for what depends on the others; and where the classes begin."""
    centred = rows.covariates - rows.covariates.mean(axis=0) if len(rows.covariates) else rows.covariates
    columns = [np.ones((rows.low.size, 1))]
    if kind == WITHIN:
        columns += [_means(each, rows.patient) for each in (centred, rows.classes)]
    if kind != POOLED:
        columns += [centred]
    first = sum(each.shape[1] for each in columns)
    return np.concatenate([*columns, rows.classes], axis=1), first


def _means(columns: np.ndarray, patient: np.ndarray) -> np.ndarray:
    """The mean of each column in each row's patient."""
    whose = places(patient)
    counts = np.bincount(whose)
    sums = np.stack([np.bincount(whose, weights=each) for each in columns.T], axis=1) if columns.size else columns
    return sums[whose] / counts[whose, None] if columns.size else columns


def _independent(design: np.ndarray) -> np.ndarray:
    """Columns that do not follow from those before them (k,)."""
    scale = np.linalg.norm(design, axis=0)
    kept, basis = np.zeros(design.shape[1], dtype=bool), np.empty((len(design), 0))
    for place, column in enumerate(design.T):
        if scale[place] == 0:
            continue
        rest = column / scale[place]
        for _ in range(2):
            rest = rest - basis @ (basis.T @ rest)
        size = np.linalg.norm(rest)
        if size > 1e-7:
            kept[place] = True
            basis = np.column_stack([basis, rest / size])
    return kept


def _estimable(design: np.ndarray, vector: np.ndarray) -> bool:
    """Whether a contrast follows from the rows at all."""
    scale = np.linalg.norm(design, axis=0)
    scale = np.where(scale > 0, scale, 1.0)
    _, sizes, axes = np.linalg.svd(design / scale, full_matrices=True)
    rank = int(np.count_nonzero(sizes > 1e-7 * sizes.max(initial=1.0)))
    return bool(np.abs(axes[rank:] @ (vector / scale)).max(initial=0.0) < 1e-6)


def _modelled(rows: Rows, design, kept, first, kind: str, fit: RangedFit, level: float) -> YieldModel:
    robust = kind == POOLED or rows.divided or fit.singular
    n, terms = rows.low.size, int(kept.sum())
    # maximum likelihood takes no degrees of freedom off the variances: as least squares does, n − p instead of n
    covariance = fit.robust if robust else fit.covariance * n / max(n - terms, 1)
    singular = fit.singular and kind != POOLED and not fit.notes
    return YieldModel(
        design=design,
        kept=kept,
        coefficient=fit.coefficient,
        covariance=covariance,
        df=_freedom(rows, design[:, kept], robust),
        first_class=first,
        classes=rows.classes.shape[1],
        level=level,
        spread=float(np.hypot(fit.between, fit.within)),
        estimator="",
        notes=(*fit.notes, *([SINGULAR] if singular else [])),
    )


SINGULAR = Note(
    code="SINGULAR",
    text="Patients did not differ beyond chance in their yields, so the model has no intercept by patient: least "
    "squares with errors clustered by patient.",
)


def _freedom(rows: Rows, design: np.ndarray, robust: bool) -> float:
    patients = np.unique(rows.patient).size
    if robust:
        return patients - 1.0
    dummies = (places(rows.patient)[:, None] == np.arange(patients)).astype(float)
    return float(rows.low.size - np.linalg.matrix_rank(np.concatenate([dummies, design], axis=1)))


def _too_many(n: int, terms: int) -> Note:
    text = (
        f"{n} yields for a model of {terms} terms, fewer than {FEWEST_ROWS_A_TERM} for each: it is not fitted. "
        "Adjust for less."
    )
    return Note(code="SMALL_N", text=text)


def _refused(rows: Rows, design, kept, first, level: float, note: Note) -> YieldModel:
    terms = int(kept.sum())
    return YieldModel(
        design=design,
        kept=kept,
        coefficient=np.full(terms, np.nan),
        covariance=np.full((terms, terms), np.nan),
        df=np.nan,
        first_class=first,
        classes=rows.classes.shape[1],
        level=level,
        spread=np.nan,
        estimator="",
        notes=(note,),
    )
