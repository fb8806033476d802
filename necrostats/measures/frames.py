"""Plain data frames, a patient or a necrosectomy a row, for models in libraries of one's own choice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import THIRTY_DAYS, EventWindow, window_named
from necrostats.definitions.outcomes import Outcomes, last_seen_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import unknown_choice
from necrostats.measures.credited_yields import UNITS, Debridements, debridements
from necrostats.measures.event_follow_up import watched
from necrostats.measures.grouping import Grouping, one_group, patient_groups, session_groups
from necrostats.measures.needs import HELD, needs_of_frame, of_resolution
from necrostats.measures.resolution import DAYS, courses_along
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.registry.tables import Registry

AGE = "age_years"
BEFORE = 0.5  # of a day: what happens on a day comes after its start, so that nobody's time at risk is empty
SEVERAL, OTHER, NONE = "several", "other", "none recorded"


@needs_of_frame(of_resolution)
def survival_frame(
    registry: Registry,
    *,
    by: str | None = None,
    covariates: Sequence[str] = (),
    axis: str = DAYS,
    landmark: int = 0,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> pd.DataFrame:
    """One row a patient, for lifelines, statsmodels or seaborn as it stands; no value is blank.

    `patient_id`; `entry`, `duration` in days from the index drainage (or necrosectomies, axis="sessions"): at risk on
    (entry, duration], and `entry` is half a unit before `landmark`, so that an end on day 0 counts; `event` 0 for last
    seen unresolved, 1 resolved, then the competing ends, named in `end`; `resolved` 1 or 0; `group` by `by`; the
    `covariates` ("age_years", or what `by` may be); `weight` 1. Who ended before `landmark` or lacks a value is left
    out, counted in `frame.attrs["left_out"]`. DesignError for what is known only later and for an unrecorded table,
    ChoiceError for an unknown name.

    >>> frame = survival_frame(registry, by="infection", covariates=["age_years"])
    >>> frame[["duration", "event", "group"]].head(2)
       duration  event      group
    0       7.0      0       none
    1      76.0      1  suspected

    Counted: patients with an index drainage (axis="sessions": and a scan or review after it).
    Source: a count or description, common practice.
    """
    courses = courses_along(registry, axis, by, definition)
    columns = {name: _of_patients(registry, name) for name in covariates}
    event, ends = courses.cause, ("last seen unresolved", *courses.causes)
    frame = pd.DataFrame(
        {
            "patient_id": registry.patients["patient_id"].astype(str).to_numpy(dtype=object),
            "entry": np.full(event.size, landmark - BEFORE),
            "duration": courses.time.astype(float),
            "event": event.astype(np.int64),
            "end": pd.Categorical.from_codes(event, categories=list(ends)),
            "resolved": (event == 1).astype(np.int64),
            "group": _labels(courses.groups),
            **columns,
            "weight": 1.0,
        }
    )
    outside = {f"ended before {landmark}": courses.known & (courses.time < landmark)}
    return _complete(frame, {"not counted, or without a group": ~courses.known, **outside}, columns)


@needs_of_frame(lambda arguments: (HELD, *of_resolution(arguments)))
def session_frame(
    registry: Registry,
    *,
    by: str | None = None,
    covariates: Sequence[str] = (),
    unit: str = "ml",
    only_yields: bool = False,
    window: EventWindow | str = THIRTY_DAYS,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> pd.DataFrame:
    """One row a necrosectomy, for lifelines, statsmodels or seaborn; several rows a patient, so cluster by patient_id.

    `patient_id`, `session_id`, `session_number`; `entry`, `duration`: the days from this necrosectomy (half a day
    before, so that an end on its day counts) to the next or to the end of the course; `event` how the course ended in
    that stretch, 0 if not, coded as in survival_frame; `after_end`: held after that end, to be left out of models of
    it; `group` by `by` and `covariates`, of the patient at the start or of the session; `instrument`: the class used
    alone, the most used first, or "several", "other", "none recorded"; `log_yield`: of exact amounts above 0 in `unit`
    without lavage fluid, blank otherwise; `adverse_event`: 1 or 0 within `window`, blank where nobody looked; `weight`:
    1 over the patient's rows. `only_yields` keeps the rows with a yield and one known class. What lacks a group or
    covariate is left out, counted in `frame.attrs["left_out"]`. DesignError, ChoiceError as survival_frame.

    >>> session_frame(registry, only_yields=True)["instrument"].value_counts().head(2)
    instrument
    snare               45
    powered_debrider    29
    Name: count, dtype: int64

    Counted: necrosectomies.
    Source: a count or description, common practice.
    """
    if unit not in UNITS:
        raise unknown_choice("unit", unit, UNITS)
    found, ends, groups = debridements(registry), outcomes(registry, definition), session_groups(registry, by)
    columns = {name: _of_sessions(registry, name)[found.session] for name in covariates}
    of_group = Grouping(labels=groups.labels, codes=groups.codes[found.session])
    sessions = registry.sessions.iloc[found.session]
    frame = pd.DataFrame(
        {
            "patient_id": registry.patients["patient_id"].astype(str).to_numpy(dtype=object)[found.patient],
            "session_id": sessions["session_id"].astype(str).to_numpy(dtype=object),
            "session_number": found.number,
            **_stretches(registry, found, ends),
            "group": _labels(of_group),
            **columns,
            "instrument": _instruments(found),
            "log_yield": _log_yield(found, unit),
            "adverse_event": _adverse_events(registry, window_named(window))[found.session],
        }
    )
    outside = {"without a group": of_group.codes < 0}
    if only_yields:
        outside["without one known class used alone"] = frame["instrument"].isin([SEVERAL, OTHER, NONE]).to_numpy()
        outside["without an exact yield above 0"] = frame["log_yield"].isna().to_numpy()
    frame = _complete(frame, outside, columns)
    frame["weight"] = 1 / frame.groupby("patient_id")["patient_id"].transform("size")
    return frame


def _labels(groups: Grouping) -> pd.Categorical:
    """The group of each row, blank without one; only the labels in use, so that no column of a design is empty."""
    return pd.Categorical.from_codes(groups.codes, categories=list(groups.labels)).remove_unused_categories()


def _of_patients(registry: Registry, name: str) -> pd.Categorical | np.ndarray:
    if name == AGE:
        return registry.patients[AGE].to_numpy(dtype=float, na_value=np.nan)
    return _labels(patient_groups(registry, name))


def _of_sessions(registry: Registry, name: str) -> pd.Categorical | np.ndarray:
    if name == AGE:
        return _of_patients(registry, name)[registry.position("sessions")]
    return _labels(session_groups(registry, name))


def _complete(frame: pd.DataFrame, outside: dict[str, np.ndarray], columns: Iterable[str]) -> pd.DataFrame:
    """The rows that nothing keeps out and that have every covariate; how many went for what is in its attrs."""
    lacking = {f"without {name}": frame[name].isna().to_numpy() for name in columns}
    kept, left_out = np.ones(len(frame), dtype=bool), {}
    for why, out in (outside | lacking).items():
        left_out[why] = int(np.count_nonzero(kept & out))
        kept &= ~out
    frame = frame[kept].reset_index(drop=True)
    for name in frame.select_dtypes("category"):
        frame[name] = frame[name].cat.remove_unused_categories()
    frame.attrs["left_out"] = left_out
    return frame


def _stretches(registry: Registry, found: Debridements, ends: Outcomes) -> dict[str, np.ndarray]:
    """From each necrosectomy to the next, to the end of the course, or after that to the last day seen."""
    day = registry.sessions["day"].to_numpy(dtype=float)[found.session]
    rows = pd.DataFrame({"patient": found.patient, "day": day, "number": found.number})
    same_day = rows.sort_values("number").groupby(["patient", "day"]).cumcount().sort_index()
    rows["entry"] = day - BEFORE / (1 + same_day)
    following = rows.sort_values("number").groupby("patient")["entry"].shift(-1).sort_index().to_numpy()
    entry, end = rows["entry"].to_numpy(), ends.day[found.patient].astype(float)
    after_end = entry >= end
    stop = np.fmin(following, np.where(after_end, last_seen_days(registry)[found.patient], end))
    ended = ~after_end & (end == stop)
    event = np.where(ended, ends.cause[found.patient], 0).astype(np.int64)
    return {"entry": entry, "duration": stop, "event": event, "after_end": after_end}


def _instruments(found: Debridements) -> pd.Categorical:
    """What was used alone, the most used first as in compare_yield; then several, another class, nothing recorded."""
    names, known = (*COMPARED_CLASSES, SEVERAL, OTHER, NONE), len(COMPARED_CLASSES)
    first = found.used.argmax(axis=1)
    single = np.where(first < known, first, known + 1)
    place = np.where(found.classes == 1, single, np.where(found.classes == 0, known + 2, known))
    most_first = np.argsort(-np.bincount(place, minlength=len(names))[:known], kind="stable")
    order = [names[each] for each in (*most_first, known, known + 1, known + 2)]
    return pd.Categorical.from_codes(place, categories=list(names)).set_categories(order)


def _log_yield(found: Debridements, unit: str) -> np.ndarray:
    told = (found.unit == UNITS.index(unit)) & (found.low == found.high) & (found.low > 0)
    told &= ~found.doubtful & ~found.lavage
    return np.log(np.where(told, found.low, np.nan))


def _adverse_events(registry: Registry, window: EventWindow) -> np.ndarray:
    """Of each session (S,) whether an event followed in its window, 1 or 0; NaN where it does not count."""
    seen = watched(registry, one_group(len(registry.sessions)), window)
    followed = np.full(len(registry.sessions), np.nan)
    placed = np.bincount(seen.event_session[seen.event_session >= 0], minlength=seen.session.size)
    followed[seen.session] = placed > 0
    return followed
