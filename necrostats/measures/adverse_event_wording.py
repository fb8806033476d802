"""What the denominator table says of its method, and its notes."""

from __future__ import annotations

from collections.abc import Sequence

from necrostats.definitions.adverse_events import EventWindow
from necrostats.definitions.grades import GradingScale
from necrostats.measures.adverse_event_choosing import ChosenEvents
from necrostats.measures.adverse_event_units import (
    EVENTS_A_PATIENT,
    PATIENT_DAYS,
    PATIENTS,
    SESSIONS,
    STENT_DAYS,
    Crowding,
    Watchful,
)
from necrostats.measures.phrases import counted
from necrostats.measures.watching import NO_RECORD, Watched
from necrostats.results import Method, Note

FEW_PATIENTS = 20
RATES = (PATIENT_DAYS, STENT_DAYS, EVENTS_A_PATIENT)
SHARES = (PATIENTS, SESSIONS, EVENTS_A_PATIENT)
_ESTIMANDS = {
    PATIENTS: "share of patients",
    SESSIONS: "share of sessions",
    PATIENT_DAYS: "rate per 100 patient-days",
    STENT_DAYS: "stent-related events per 100 stent-days",
    EVENTS_A_PATIENT: "events per patient",
}
_OVER = {
    PATIENTS: "patients", SESSIONS: "sessions", PATIENT_DAYS: "patient-days in the windows",
    STENT_DAYS: "stent-days", EVENTS_A_PATIENT: "patients",
}  # fmt: skip
INTERVAL_REFERENCES = {
    "Clopper–Pearson": "Clopper and Pearson, Biometrika 1934;26:404",
    "mid-P": "Lancaster, J Am Stat Assoc 1961;56:223 (mid-P)",
    "Blaker": "Blaker, Can J Stat 2000;28:783",
    "Wilson": "Wilson, J Am Stat Assoc 1927;22:209",
}
CHECKED = "sessions of any type in which somebody looked for events or recorded one in the window"


def denominator_method(
    window: EventWindow, scale: GradingScale, chosen: ChosenEvents, units: Sequence[str], interval: str, level: float
) -> Method:
    """The method of the denominator table, for the units it shows."""
    over = list(dict.fromkeys(_OVER[unit] for unit in units))
    return Method(
        estimand=f"adverse events {window.sentence()}{chosen.words}: {', '.join(_ESTIMANDS[unit] for unit in units)}",
        estimator=f"events over {_listed([f'over {name}' for name in over]).removeprefix('over ')}",
        interval="; ".join(_intervals(units, interval)),
        level=level,
        definition=f"window: {window.sentence()}; {CHECKED}{''.join(_exposures(units))}{chosen.words}",
        references=(*_references(units, interval), *((scale.reference,) if scale.name in chosen.words else ())),
    )


def _intervals(units: Sequence[str], interval: str) -> list[str]:
    rates = [_OVER[unit].split(" ")[0] if unit != EVENTS_A_PATIENT else unit for unit in units if unit in RATES]
    said = [f"patients: {interval}"] * (PATIENTS in units)
    said += ["sessions: Korn–Graubard, clustered by patient"] * (SESSIONS in units)
    robust = f"{', '.join(rates)}: Garwood; where events crowd in few patients robust by patient, if that is wider"
    return said + [robust] * bool(rates)


def _exposures(units: Sequence[str]) -> list[str]:
    said = [
        "; patient-days counted from the session to the end of its window, to the patient's next session or to the "
        "last day seen"
    ] * (PATIENT_DAYS in units)
    stents = (
        "; stent-days: from the day a stent went in to the day it came out, or to last contact while it is in, each "
        "stent for itself; stent-related events: those put down to a stent and stent migration, occlusion and buried "
        "stents, on any of these days whatever the window"
    )
    return said + [stents] * (STENT_DAYS in units)


def _references(units: Sequence[str], interval: str) -> list[str]:
    said = [INTERVAL_REFERENCES[interval]] * (PATIENTS in units)
    said += ["Korn and Graubard, Survey Methodology 1998;24:193"] * (SESSIONS in units)
    return said + ["Garwood, Biometrika 1936;28:437"] * any(unit in RATES for unit in units)


def _listed(items: list[str]) -> str:
    *first, last = items
    return f"{', '.join(first)}{', ' if len(first) > 1 else ' ' if first else ''}{'and ' if first else ''}{last}"


def rate_notes(
    seen: Watched, rows: Sequence[dict], sides: Sequence[Watchful], labels: Sequence[str], units: Sequence[str]
) -> tuple[Note, ...]:
    """What a reader of the denominator table must know; `sides` and `labels` belong to its groups."""
    none_seen = any(row["unit"] == SESSIONS and row["events"] == 0 and row["n"] > 0 for row in rows)
    said = {
        "ZERO_EVENTS": none_seen
        and "Where no event was recorded the upper limit is the exact one, and clustering within patients cannot be "
        "estimated.",
        "FEW_CLUSTERS": SESSIONS in units and _few_patients(sides, labels),
    }  # fmt: skip
    notes = (Note(code=code, text=text) for code, text in said.items() if text)
    return (*watching_notes(seen, units), *notes, *_crowded(rows, units))


def watching_notes(seen: Watched, units: Sequence[str] = (PATIENTS, SESSIONS)) -> tuple[Note, ...]:
    """How far the sessions were watched: left out, in only because of an event, not to the end, days uncertain."""
    total = seen.unchecked + seen.sessions + seen.no_group + seen.no_end
    ranged = seen.ranged_inside + seen.ranged_after
    only, short = seen.by_event_only, seen.unfinished * any(unit in SHARES for unit in units)
    said = {
        f"{counted(seen.unchecked, 'session', 'sessions')} of {total:,} left out of every denominator: "
        f"{NO_RECORD.removeprefix('with ')}.": (
            "MISSING", seen.unchecked
        ),
        f"{counted(only, 'session counts', 'sessions count')} only because an event is recorded for "
        f"{'it' if only == 1 else 'them'}, {NO_RECORD}: that makes figures higher.": ("MISSING", only),
        f"{short:,} of {counted(seen.sessions, 'session', 'sessions')} {'has' if short == 1 else 'have'} been "
        "watched for less than the window; "
        f"{'it counts' if short == 1 else 'they count'} as without an event so far.": ("NOT_MATURED", short),
        f"{counted(ranged, 'event is', 'events are')} dated only to a range and placed by the earliest day: "
        f"{seen.ranged_inside:,} inside the window, {seen.ranged_after:,} after it.": ("MISSING", ranged),
    }  # fmt: skip
    return tuple(Note(code=code, text=text) for text, (code, count) in said.items() if count)


def _few_patients(sides: Sequence[Watchful], labels: Sequence[str]) -> str:
    """The caution about the smallest group with anybody in it; "" where it is large enough."""
    sizes = {label: side.days.size for label, side in zip(labels, sides, strict=True) if side.days.size}
    if not sizes or min(sizes.values()) >= FEW_PATIENTS:
        return ""
    smallest = min(sizes, key=sizes.__getitem__)
    where = f" in the smallest group ({smallest})" if len(sizes) > 1 else ""
    return f"Only {counted(sizes[smallest], 'patient', 'patients')}{where}: intervals for sessions are approximate."


def _crowded(rows: Sequence[dict], units: Sequence[str]) -> tuple[Note, ...]:
    """For each unit with robust limits in any of its rows, how far events crowd."""
    return tuple(
        Note(code="OVERDISPERSED", text=_crowding_text(unit, crowding, sum(row["unit"] == unit for row in rows)))
        for unit in units
        if (crowding := [row["crowding"] for row in rows if row["unit"] == unit and "crowding" in row])
    )


def _crowding_text(unit: str, crowding: Sequence[Crowding], rates: int) -> str:
    several = f" in {len(crowding):,} of {rates:,} rates" if rates > 1 else ""
    dispersion, most = max(each.dispersion for each in crowding), max(each.most for each in crowding)
    upto = "up to " if len(crowding) > 1 else ""
    return (
        f"Events crowd in few patients{several} (dispersion {upto}{dispersion:.1f}, at most {most} in one): limits "
        f"{'of' if unit == EVENTS_A_PATIENT else 'per'} {unit} are robust by patient where that is wider."
    )
