"""The models behind a ratio of yields: classes pooled, classes adjusted for, and patients as their own controls.

What is adjusted for was known before the session, and may go with both the choice of instrument and the yield.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd
from scipy import special

from necrostats.errors import DesignError, unknown_choice
from necrostats.measures.credited_yields import Debridements
from necrostats.measures.grouping import DERIVED, KNOWN_AT_THE_START, patient_groups, session_groups
from necrostats.registry.codebook import TABLES
from necrostats.registry.tables import Registry
from necrostats.results import Note
from necrostats.stats.clustered import PermutationTest, least_squares, permute_within, within_groups
from necrostats.stats.intervals import places
from necrostats.stats.mixed import random_intercept
from necrostats.stats.ranged_intercept import ranged_intercept, row_scores

USUAL = ("session number", "texture", "solid fraction", "volume")
_BEFORE_THE_SESSION = ("texture", "planned", "anaesthesia", "carbon_dioxide")
_OF_THE_PATIENT = tuple(name for name in (*KNOWN_AT_THE_START, *DERIVED) if name != "index_period")
ADJUSTMENTS = (*USUAL, "calendar time", "operator", *_BEFORE_THE_SESSION[1:], *_OF_THE_PATIENT)
GROUPS = (*_BEFORE_THE_SESSION, *_OF_THE_PATIENT)
_SYNONYMS = {
    "number": "session number",
    "session_number": "session number",
    "solid_fraction": "solid fraction",
    "solid_percent": "solid fraction",
    "volume_ml": "volume",
    "calendar_time": "calendar time",
    "period": "calendar time",
}
_LATER = {
    name
    for table in ("sessions", "instrument_uses", "adverse_events", "scans", "reviews", "stents")
    for name in TABLES[table].names
}
NUMBER_BANDS = ("1", "2", "3", "4", "5 and later")
VOLUME_EDGES = (250.0, 500.0, 1000.0)  # common practice, no source
VOLUME_BANDS = ("below 250 ml", "250–499 ml", "500–999 ml", "1,000 ml and more")
SOLID_BANDS = ("up to 30 %", "31–60 %", "above 60 %")
BANDED = ("session number", "texture", "solid fraction", "volume")


@dataclass(frozen=True, kw_only=True, eq=False)
class Covariate:
    """One adjustment: its columns for a model (n, k), NaN where not known, and how it enters.

    `later`: values that were recorded only after the session, which are taken as not known.
    """

    name: str
    columns: np.ndarray
    enters: str
    later: int = 0

    @property
    def known(self) -> np.ndarray:
        """Where it is known (n,)."""
        return ~np.isnan(self.columns).any(axis=1)


def adjustment_names(adjust: Sequence[str] | str) -> tuple[str, ...]:
    """The names in their order; DesignError for what is recorded after the session, ChoiceError for the unknown."""
    asked = (adjust,) if isinstance(adjust, str) else tuple(adjust)
    return tuple(dict.fromkeys(_checked(name, ADJUSTMENTS, "adjustment") for name in asked))


def group_name(by: str) -> str:
    """A grouping known before the session; DesignError or ChoiceError as for an adjustment."""
    return _checked(by, GROUPS, "grouping of yields")


def _checked(name: str, choices: Sequence[str], what: str) -> str:
    plain = _SYNONYMS.get(name, name)
    if plain in choices:
        return plain
    if plain in _LATER and plain not in ADJUSTMENTS:
        raise DesignError(
            f'"{name}" is not used as an {what}: it is recorded during or after the session, so it may follow from '
            f"the yield instead of going before it. Choose from what is known before: {', '.join(choices)}."
            if what == "adjustment"
            else f'"{name}" does not group yields: it is recorded during or after the session. '
            f"Choose from what is known before: {', '.join(choices)}."
        )
    raise unknown_choice(what, name, choices)


def covariates(registry: Registry, found: Debridements, names: Sequence[str]) -> tuple[Covariate, ...]:
    """The adjustments by these names, for every debridement."""
    return tuple(_covariate(registry, found, name) for name in names)


def _covariate(registry: Registry, found: Debridements, name: str) -> Covariate:
    if name == "session number":
        return _number(name, found.number - 1.0, "a straight line on the log scale")
    if name in ("solid fraction", "volume"):
        values, later = before_the_session(registry, found, name)
        with np.errstate(divide="ignore", invalid="ignore"):
            scaled = values / 10 if name == "solid fraction" else np.where(values > 0, np.log(values), np.nan)
        how = "a straight line per 10 %" if name == "solid fraction" else "the logarithm of the volume"
        return _number(name, scaled, how, later)
    if name == "calendar time":
        codes = registry.sessions["period"].cat.codes.to_numpy()[found.session].astype(float)
        return _number(name, np.where(codes < 0, np.nan, codes / 4), "a straight line over the quarters")
    codes, _ = _codes(registry, found, name)
    return Covariate(name=name, columns=_indicators(codes), enters="one term for each level")


def _number(name: str, values: np.ndarray, enters: str, later: int = 0) -> Covariate:
    return Covariate(name=name, columns=values[:, None], enters=enters, later=later)


def _codes(registry: Registry, found: Debridements, name: str) -> tuple[np.ndarray, tuple[str, ...]]:
    """The level of each debridement, -1 = not known, and the labels."""
    if name == "operator":
        labels = registry.sessions["operator"].astype("string").astype(object)
        codes, names = pd.factorize(labels.where(labels != "", None), sort=True)
        return codes[found.session].astype(np.int64), tuple(f"operator {i + 1}" for i in range(len(names)))
    if name in _BEFORE_THE_SESSION:
        groups = session_groups(registry, name)
        return groups.codes[found.session], groups.labels
    groups = patient_groups(registry, name)
    return groups.codes[found.patient], groups.labels


def _indicators(codes: np.ndarray) -> np.ndarray:
    """Indicators of all levels but the commonest; NaN where there is none."""
    counts = np.bincount(codes[codes >= 0], minlength=1)
    levels = [place for place in np.flatnonzero(counts) if place != counts.argmax()]
    columns = (codes[:, None] == np.array(levels, dtype=np.int64)).astype(float)
    if not levels:
        columns = np.zeros((codes.size, 1))
    columns[codes < 0] = np.nan
    return columns


def before_the_session(registry: Registry, found: Debridements, name: str) -> tuple[np.ndarray, int]:
    """Solid per cent or volume of the collection treated, by its baseline scan (n,); how many were recorded too late.

    The patient's index collection where the session names none. A baseline scan after the session's day tells nothing
    about it beforehand.
    """
    column = {"solid fraction": "solid_percent", "volume": "volume_ml"}[name]
    collections = registry.collections
    which = registry.position("sessions", "collections")[found.session].astype(np.int64)
    index = np.full(len(registry.patients), -1, dtype=np.int64)
    marked = np.flatnonzero(collections["is_index"].fillna(False).to_numpy(dtype=bool))
    index[registry.position("collections")[marked]] = marked
    which = np.where(which >= 0, which, index[found.patient])
    value, scanned = (
        np.append(collections[each].to_numpy(dtype=float, na_value=np.nan), np.nan)[which]
        for each in (column, "baseline_scan_day")
    )
    day = registry.sessions["day"].to_numpy(dtype=float, na_value=np.nan)[found.session]
    late = (scanned > day) & ~np.isnan(value)
    return np.where(late, np.nan, value), int(np.count_nonzero(late))


def banded(registry: Registry, found: Debridements, name: str) -> tuple[np.ndarray, tuple[str, ...]]:
    """The level of each debridement by which classes must meet to be compared, -1 = not known, and the labels."""
    if name == "session number":
        return np.minimum(found.number, len(NUMBER_BANDS)) - 1, NUMBER_BANDS
    if name in ("solid fraction", "volume"):
        values, _ = before_the_session(registry, found, name)
        edges, labels = (
            ((30.0 + 1e-9, 60.0 + 1e-9), SOLID_BANDS) if name == "solid fraction" else (VOLUME_EDGES, VOLUME_BANDS)
        )
        return np.where(np.isnan(values), -1, np.digitize(values, edges)), labels
    if name == "calendar time":
        periods = registry.sessions["period"]
        return periods.cat.codes.to_numpy()[found.session].astype(np.int64), tuple(map(str, periods.cat.categories))
    return _codes(registry, found, name)


FEWEST_ROWS_A_TERM = 5
ROUNDING = 1e-8
POOLED, INTERCEPT, WITHIN = "pooled", "intercept", "within"
SINGULAR = Note(
    code="SINGULAR",
    text="Patients did not differ beyond chance in their yields, so the model has no intercept by patient: least "
    "squares with errors clustered by patient.",
)


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


class Fit(Protocol):
    """A fit that gives a sum of coefficients with its limits."""

    def contrast(self, vector: np.ndarray) -> Difference: ...


@dataclass(frozen=True, kw_only=True, eq=False)
class YieldModel:
    """A fitted model, or none: `against` compares two of its classes; `spread` is the standard deviation of values.

    `design` (n, k) has the classes last, from the column `first_class`; `kept` are the columns in the fit; `crowded`:
    not fitted, since there are too few rows for them.
    """

    design: np.ndarray
    kept: np.ndarray
    first_class: int
    fit: Fit | None = None
    spread: float = np.nan
    notes: tuple[Note, ...] = ()
    crowded: bool = False

    def against(self, one: int, other: int | None = None) -> Difference:
        """Class `one` minus class `other`, by their places among the classes; None is the one without a column."""
        vector = np.zeros(self.design.shape[1])
        vector[self.first_class + one] += 1
        if other is not None:
            vector[self.first_class + other] -= 1
        if self.fit is None or not _estimable(self.design, vector):
            return Difference()
        found = self.fit.contrast(vector[self.kept])
        return Difference(**{name: getattr(found, name) for name in Difference.__dataclass_fields__})


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
    a patient) or "within" (patients as their own controls).

    Values that are all numbers: least squares with CR2 errors, restricted maximum likelihood with Satterthwaite's
    degrees of freedom, least squares with an effect for each patient. Values some of which are ranges: the likelihood
    of ranges, "within" with every column split into the patient's mean and the deviation from it.
    """
    design, first = _design(rows, kind)
    kept = _independent(design)
    terms = int(kept.sum())
    asked = YieldModel(design=design, kept=kept, first_class=first)
    if not terms:
        return asked
    if rows.low.size < FEWEST_ROWS_A_TERM * terms:
        return _with(asked, notes=(_too_many(rows.low.size, terms),), crowded=True)
    return (_exact if rows.exact else _ranged)(asked, rows, kind, level)


def exchanged_within(rows: Rows) -> PermutationTest:
    """The first class against the rest, its label exchanged within patients: of what the covariates leave unexplained.

    Covariates enter with their patient's mean beside them, so that their effects are those within patients. NaN
    where labels cannot be exchanged, or no model of the covariates settles.
    """
    design = np.column_stack([np.ones(rows.low.size), _means(rows.covariates, rows.patient), rows.covariates])
    scores = row_scores(rows.low, rows.high, design[:, _independent(design)])
    known = ~np.isnan(scores)
    return permute_within(scores[known], rows.classes[known, 0], rows.patient[known])


def _with(asked: YieldModel, **more) -> YieldModel:
    return YieldModel(design=asked.design, kept=asked.kept, first_class=asked.first_class, **more)


def _design(rows: Rows, kind: str) -> tuple[np.ndarray, int]:
    """Ones, covariates, then classes, the last for what depends on the others; and where the classes begin."""
    centred = rows.covariates - rows.covariates.mean(axis=0) if len(rows.covariates) else rows.covariates
    columns = [] if kind == WITHIN and rows.exact else [np.ones((rows.low.size, 1))]
    if kind == WITHIN and not rows.exact:
        columns += [_means(each, rows.patient) for each in (centred, rows.classes)]
    if kind != POOLED:
        columns += [centred]
    columns += [rows.classes]
    if kind == WITHIN and rows.exact:
        columns = [each - _means(each, rows.patient) for each in columns]
    return np.concatenate(columns, axis=1), sum(each.shape[1] for each in columns[:-1])


def _means(columns: np.ndarray, patient: np.ndarray) -> np.ndarray:
    """The mean of each column in each row's patient."""
    if not columns.size:
        return columns
    whose = places(patient)
    sums = np.stack([np.bincount(whose, weights=each) for each in columns.T], axis=1)
    return sums[whose] / np.bincount(whose)[whose, None]


def _independent(design: np.ndarray) -> np.ndarray:
    """Columns that do not follow from those before them (k,)."""
    scale = np.linalg.norm(design, axis=0)
    kept, basis = np.zeros(design.shape[1], dtype=bool), np.empty((len(design), 0))
    for place, column in enumerate(design.T):
        if scale[place] < ROUNDING:
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
    scale = np.where(scale > ROUNDING, scale, 1.0)
    _, sizes, axes = np.linalg.svd(design / scale, full_matrices=False)
    told, wanted = axes[sizes > 1e-7 * sizes.max(initial=1.0)], vector / scale
    return bool(np.linalg.norm(wanted - told.T @ (told @ wanted)) < 1e-6 * np.linalg.norm(wanted))


def _exact(asked: YieldModel, rows: Rows, kind: str, level: float) -> YieldModel:
    given = (rows.low, asked.design[:, asked.kept], rows.patient)
    if kind == WITHIN:
        fit = within_groups(*given, level=level)
        return _with(asked, fit=fit, spread=fit.residual, notes=_said(fit.notes))
    if kind == INTERCEPT and not rows.divided:
        mixed = random_intercept(*given, level=level)
        if mixed.notes or not mixed.singular:
            spread = float(np.sqrt(mixed.between + mixed.within))
            return _with(asked, fit=None if mixed.notes else mixed, spread=spread, notes=_said(mixed.notes))
    fit = least_squares(*given, level=level)
    singular = (SINGULAR,) if kind == INTERCEPT and not rows.divided else ()
    return _with(asked, fit=fit, spread=fit.residual, notes=(*_said(fit.notes), *singular))


def _said(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """The notes of a fit but that on few clusters: how few patients there are is said for all models at once."""
    return tuple(note for note in notes if note.code != "FEW_CLUSTERS")


@dataclass(frozen=True, kw_only=True, eq=False)
class _RangedContrasts:
    """Coefficients with their covariance, and one number of degrees of freedom for all."""

    coefficient: np.ndarray
    covariance: np.ndarray
    df: float
    level: float

    def contrast(self, vector: np.ndarray) -> Difference:
        estimate, variance = float(vector @ self.coefficient), float(vector @ self.covariance @ vector)
        return limits(estimate, float(np.sqrt(variance)), self.df, self.level)


def _ranged(asked: YieldModel, rows: Rows, kind: str, level: float) -> YieldModel:
    design = asked.design[:, asked.kept]
    fit = ranged_intercept(rows.low, rows.high, design, rows.patient, spread=kind != POOLED)
    if fit.notes:
        return _with(asked, notes=fit.notes)
    robust = kind == POOLED or rows.divided or fit.singular
    n, terms = design.shape
    # maximum likelihood takes no degrees of freedom off the variances: as least squares does, n − p instead of n
    covariance = fit.robust if robust else fit.covariance * n / max(n - terms, 1)
    contrasts = _RangedContrasts(
        coefficient=fit.coefficient, covariance=covariance, df=_freedom(rows, design, robust), level=level
    )
    singular = (SINGULAR,) if fit.singular and kind != POOLED else ()
    return _with(asked, fit=contrasts, spread=float(np.hypot(fit.between, fit.within)), notes=singular)


def _freedom(rows: Rows, design: np.ndarray, robust: bool) -> float:
    """Patients less one where errors are summed by patient; else what is left within patients."""
    patients = np.unique(rows.patient).size
    if robust:
        return patients - 1.0
    within = design - _means(design, rows.patient)
    return float(rows.low.size - patients - np.count_nonzero(_independent(within)))


def _too_many(n: int, terms: int) -> Note:
    text = (
        f"{n} yields for a model of {terms} terms, fewer than {FEWEST_ROWS_A_TERM} for each: it is not fitted. "
        "Adjust for less."
    )
    return Note(code="SMALL_N", text=text)
