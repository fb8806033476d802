"""What has become of the figures of earlier quarters since a lock, and why."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.definitions.indicators import BY_NAME, Indicator
from necrostats.errors import ChoiceError
from necrostats.measures.event_follow_up import whole_histories
from necrostats.measures.locking import answerable, definitions_today, figures_of
from necrostats.measures.needs import Need, unanswered
from necrostats.measures.steps_since_lock import MATURED, Effect, Parts, effects, only_patients
from necrostats.registry import periods
from necrostats.registry.comparing import ADDED, REMOVED, Versions, versions
from necrostats.registry.lock import Lock, read_lock
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Restatement, Result

DEFINITION, UNEXPLAINED = "definition changed", "not explained"
_WORDING = ("title", "events", "of", "source")
REASONS = ("reason", "table", "record", "patient", "column", "was", "now")
MOST_NAMED = 6
NO_LOCK = Need(
    table="",
    lacking="What changed, or was recorded late, can be told only against a lock.",
    remedy="Freeze the registry at each review (necrostats lock SOURCE --to FOLDER) and give that folder to the next: "
    '--param since=FOLDER, or lock="FOLDER" in a notebook.',
)
_RECORDS = {
    "patients": "patient",
    "collections": "collection",
    "sessions": "session",
    "instrument_uses": "instrument",
    "stents": "stent",
    "scans": "scan",
    "reviews": "review",
    "adverse_events": "adverse event",
    "other_interventions": "intervention",
}


def restatement(registry: Registry, lock: str | Path = "") -> Result:
    """Figures of earlier quarters that are no longer what they were at the last lock, each with what changed it.

    `lock` is the folder that `necrostats lock` wrote; blank, the question stays unanswered. Each indicator in each
    quarter up to the last of the lock is compared with what the lock says it was. A change is put down to a definition
    (or a version of necrostats) that is another one, to records or values added, corrected or removed, or to time:
    matured, when a patient's day lies before the data lock only now. Of several causes each is named. Records are known
    by what they say where ids are numbered anew. NecrostatsError for a lock that is not whole, was changed, or is that
    of another registry; DesignError for a registry narrowed to a quarter.

    Counted: of each indicator the sessions, patients or stents of the quarter that can have it, then and now.
    Source: common practice, no source.
    """
    title = "Figures restated since the last lock"
    whole_histories(registry, "What changed since a lock")
    if not lock:
        return unanswered(registry, title, [NO_LOCK])
    locked = opened(registry, lock)
    compared = _compared(registry, locked)
    changed = [each for each in compared if each.then != each.now]
    causes = _causes(registry, locked, changed)
    return Restatement(
        title=f"{title} ({last_period(locked)})",
        frame=_frame(changed, causes),
        population=Population(patients=len(registry.patients), sessions=len(registry.sessions)),
        method=Method(
            estimand="events and denominator of each indicator in each quarter up to the lock, then and now",
            estimator="counts; each change followed patient by patient through every difference in the records",
            interval="none",
            level=0.95,
            definition="each indicator as it is defined today; the lock holds the definitions and the figures of then",
        ),
        notes=_notes(registry, locked),
        said=_said(changed, causes, locked),
        figures=pd.DataFrame([each.row() for each in compared], columns=list(Restatement.columns[:-1])),
        changes=_changes(changed, causes),
    )


def opened(registry: Registry, lock: str | Path) -> Lock:
    """A lock of this registry; ChoiceError for that of another one, or of a later time."""
    locked = read_lock(lock)
    theirs, ours = locked.registry.patients, registry.patients
    days = [frame.set_index("patient_id")["observed_days"].rename(index=str) for frame in (theirs, ours)]
    both = days[0].index.intersection(days[1].index)
    if both.empty:
        raise ChoiceError(
            f"{lock} is the lock of another registry: they have no patient in common. Give the lock of this one."
        )
    if len({each[0] == "P" for each in (*locked.periods[:1], *registry.periods[:1])}) > 1:
        raise ChoiceError(
            f"{lock} and this registry have periods of two kinds, quarters and private ones. Lock it again."
        )
    passed = (days[1][both] - days[0][both]).astype("float64")
    if passed.median() < 0:
        raise ChoiceError(f"{lock} was locked after this registry was. Give an earlier lock, or today's registry.")
    return locked


def last_period(locked: Lock) -> str:
    """The lock by its last quarter, in words."""
    return f"locked with {locked.periods[-1]}" if locked.periods else "locked without a session"


@dataclass(frozen=True, kw_only=True)
class Figure:
    """Events and denominator of an indicator in a quarter: at the lock, of the lock counted as today, and today."""

    indicator: Indicator
    quarter: str
    then: tuple[int, int]
    counted_again: tuple[int, int]
    now: tuple[int, int]

    def row(self) -> dict[str, object]:
        """As a row of a table."""
        values = zip(("events_then", "n_then", "events", "n"), (*self.then, *self.now), strict=True)
        return {"variable": self.indicator.title, "group": self.quarter, **dict(values)}


def _compared(registry: Registry, locked: Lock) -> list[Figure]:
    """The figures that both were recorded, up to the last quarter of the lock."""
    again, now = figures_of(locked.registry), figures_of(registry)
    quarters = _quarters(registry, locked)
    return [
        Figure(
            indicator=BY_NAME[name],
            quarter=quarter,
            then=locked.figures[name].get(quarter, (0, 0)),
            counted_again=again[name].get(quarter, (0, 0)),
            now=now[name].get(quarter, (0, 0)),
        )
        for name in now
        if name in again and name in locked.figures
        for quarter in quarters
    ]


def _quarters(registry: Registry, locked: Lock) -> list[str]:
    known = sorted({*locked.periods, *registry.periods}, key=periods.ordinal)
    return [each for each in known if locked.periods and periods.ordinal(each) <= periods.ordinal(locked.periods[-1])]


Causes = Mapping[tuple[str, str], list[dict]]


def _causes(registry: Registry, locked: Lock, changed: Sequence[Figure]) -> Causes:
    """For each changed figure, by indicator and quarter, the causes as rows."""
    found: dict[tuple[str, str], list[dict]] = {(each.indicator.name, each.quarter): [] for each in changed}
    for each in changed:
        if each.then != each.counted_again:
            found[each.indicator.name, each.quarter] += list(_redefined(each.indicator, locked))
    moved = [each for each in changed if each.counted_again != each.now]
    both = versions(locked.registry, registry) if moved else None
    for indicator in dict.fromkeys(each.indicator for each in moved):
        _put_down(found, both, [each for each in moved if each.indicator == indicator])
    return found


def _redefined(indicator: Indicator, locked: Lock) -> Iterator[dict]:
    """The thresholds that are others now; where none is, the version of necrostats."""
    then, now = (_flat(each, indicator.name) for each in (locked.definitions, definitions_today()))
    differ = [name for name in dict.fromkeys((*then, *now)) if then.get(name) != now.get(name)]
    for name in differ:
        yield _cause(DEFINITION, column=name, was=str(then.get(name, "")), now=str(now.get(name, "")))
    if not differ:
        yield _cause(DEFINITION, column="how necrostats counts", was=f"version {locked.necrostats}", now="today's")


def _flat(definitions: Mapping[str, object], indicator: str) -> dict[str, object]:
    """What can change one indicator, by a name in words."""
    general = {name: each for name, each in definitions.items() if name != "indicators"}
    own = {indicator: definitions.get("indicators", {}).get(indicator, {})}
    return {
        f"{name}: {key}" if key else name: value
        for name, each in {**general, **own}.items()
        for key, value in (each.items() if isinstance(each, Mapping) else [("", each)])
        if key not in _WORDING
    }


def _cause(reason: str, **more: str) -> dict:
    return {**dict.fromkeys(REASONS, ""), "reason": reason, **more}


def _put_down(found: dict[tuple[str, str], list[dict]], both: Versions, moved: Sequence[Figure]) -> None:
    """Every cause of the figures of one indicator that moved, added to what was found."""
    indicator, quarters = moved[0].indicator, {each.quarter for each in moved}
    everybody = Parts.of(both, indicator, quarters)
    differ = (everybody.counts(both.now) != everybody.counts(both.then)).any(axis=1)
    own = {part for part, differs in zip(everybody.parts, differ, strict=True) if differs}
    both = only_patients(both, {patient for patient, _ in own})
    parts = Parts.of(both, indicator, quarters)
    told, left = effects(both, parts) if own else ([], np.zeros((0, 2)))
    for each in moved:
        here = np.array([part in own and part[1] == each.quarter for part in parts.parts], dtype=bool)
        causes = [cause for effect in told for cause in _of_effect(effect, here, parts, both)]
        if left[here].any() or not causes:
            causes.append(_cause(UNEXPLAINED))
        found[indicator.name, each.quarter] += causes


def _of_effect(effect: Effect, here: np.ndarray, parts: Parts, both: Versions) -> Iterator[dict]:
    """The differences of a step that belong to patients whose part it changed."""
    touched = (effect.change != 0).any(axis=1) & here
    patients = {parts.parts[place][0] for place in np.flatnonzero(touched)}
    for each in effect.step.differences.to_dict("records"):
        if each["patient"] in patients:
            yield _cause(
                effect.step.reason,
                **{name: each[name] for name in ("table", "patient", "column", "was", "now")},
                record=_record(each, both),
            )


def _record(difference: Mapping, both: Versions) -> str:
    """A record in words: "session S00012", "review of day 42"."""
    table, noun = difference["table"], _RECORDS[difference["table"]]
    row = (both.then if difference["kind"] == REMOVED else both.now)[table].loc[difference["record"]]
    if table == "patients":
        return ""
    if table == "instrument_uses":
        return f"{noun} {row['instrument_class']} in session {row['session_id']}"
    if table in ("reviews", "other_interventions"):
        return f"{noun} of day {row['day']}"
    return f"{noun} {row.iloc[0]}"


def _frame(changed: Sequence[Figure], causes: Causes) -> pd.DataFrame:
    rows = [{**each.row(), "why": _why(each, causes)} for each in changed]
    return pd.DataFrame(rows, columns=list(Restatement.columns))


def _changes(changed: Sequence[Figure], causes: Causes) -> pd.DataFrame:
    rows = [
        {"variable": each.indicator.title, "group": each.quarter, **cause}
        for each in changed
        for cause in causes[each.indicator.name, each.quarter]
    ]
    return pd.DataFrame(rows, columns=["variable", "group", *REASONS])


def _said(changed: Sequence[Figure], causes: Causes, locked: Lock) -> tuple[str, ...]:
    if not changed:
        return (f"No figure of a quarter up to {locked.periods[-1] if locked.periods else 'the lock'} has changed.",)
    longer = [each for each in changed if _only_longer(each, causes)]
    return (
        *(_sentence(each, causes) for each in changed if each not in longer),
        *(_exposure(indicator, longer) for indicator in dict.fromkeys(each.indicator for each in longer)),
    )


def _sentence(figure: Figure, causes: Causes) -> str:
    return (
        f"{figure.indicator.title}, {figure.quarter}: {_of(figure.now)} now, {_of(figure.then)} at the lock; "
        f"{_why(figure, causes)}."
    )


def _only_longer(figure: Figure, causes: Causes) -> bool:
    """Whether a rate over days has the events it had, and more days only because time has passed."""
    reasons = {each["reason"] for each in causes[figure.indicator.name, figure.quarter]}
    return figure.indicator.per != 1 and figure.now[0] == figure.then[0] and reasons == {MATURED}


def _exposure(indicator: Indicator, longer: Sequence[Figure]) -> str:
    own = [each for each in longer if each.indicator == indicator]
    more, quarters = sum(each.now[1] - each.then[1] for each in own), len(own)
    return (
        f"{indicator.title}, {quarters} further {'quarter' if quarters == 1 else 'quarters'}: the same events over "
        f"{more:,} more {indicator.of}; matured: patients observed for longer."
    )


def _of(figure: tuple[int, int]) -> str:
    return f"{figure[0]:,} of {figure[1]:,}"


def _why(figure: Figure, causes: Causes) -> str:
    """The causes of a change in words, by reason."""
    rows = causes[figure.indicator.name, figure.quarter]
    return "; ".join(
        f"{reason}: {_named([row for row in rows if row['reason'] == reason], figure.indicator)}"
        for reason in dict.fromkeys(row["reason"] for row in rows)
    )


def _named(rows: Sequence[Mapping], indicator: Indicator) -> str:
    reason = rows[0]["reason"]
    if reason == MATURED:
        return _matured(rows, indicator)
    named = list(dict.fromkeys(_in_words(each) for each in rows))
    return _some(named)


def _some(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more:,} more" if more > 0 else "")


def _matured(rows: Sequence[Mapping], indicator: Indicator) -> str:
    day = indicator.matured_at
    passed = [each["patient"] for each in rows if int(each["was"]) < day <= int(each["now"])]
    others = [each for each in rows if each["patient"] not in passed]
    said = [f"day {day} of {_some(passed)} lies before the data lock now"] if passed else []
    said += [f"{_some([each['patient'] for each in others])} observed for longer"] if others else []
    return ", ".join(said)


def _in_words(cause: Mapping) -> str:
    if cause["reason"] == UNEXPLAINED:
        return "no record accounts for it"
    if cause["reason"] == DEFINITION:
        return f"{cause['column']}, {_value(cause['was'])} then and {_value(cause['now'])} now"
    whose = f"{cause['record']} of {cause['patient']}" if cause["record"] else f"patient {cause['patient']}"
    if not cause["column"]:
        return whose
    if cause["reason"] == ADDED and not cause["was"]:
        return f"{cause['column']} {cause['now']} of {whose}"
    return f"{cause['column']} of {whose} from {_value(cause['was'])} to {_value(cause['now'])}"


def _value(text: str) -> str:
    return text or "blank"


def _notes(registry: Registry, locked: Lock) -> tuple[Note, ...]:
    now = {each.name: each.title for each in answerable(registry)}
    unlocked = [title for name, title in now.items() if name not in locked.figures]
    unrecorded = [BY_NAME[name].title for name in locked.figures if name in BY_NAME and name not in now]
    gone = [name for name in locked.figures if name not in BY_NAME]
    said = {
        "Not compared, because the lock has no figure of it": unlocked,
        "Not compared, because it is not recorded any more": unrecorded,
        "Not compared, because it is no indicator any more": gone,
    }
    return tuple(
        Note(code="NOT_RECORDED", text=f"{text}: {'; '.join(names)}.") for text, names in said.items() if names
    )
