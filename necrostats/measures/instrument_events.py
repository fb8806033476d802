"""How often necrosectomies with one class of instrument were followed by an adverse event."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import (
    AGREE,
    ANY,
    THIRTY_DAYS,
    EventWindow,
    chosen_events,
    known_types,
    of_type,
    of_types,
    window_named,
)
from necrostats.measures.adverse_events import PATIENTS, SESSIONS, Watchful, denominator_method, rate_notes, rates_of
from necrostats.measures.credited_yields import debridements
from necrostats.measures.event_follow_up import watched
from necrostats.measures.grouping import Grouping
from necrostats.measures.needs import EVENTS, EVENTS_CHECKED, INSTRUMENTS, needing
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.registry.tables import Registry
from necrostats.results import Note, Population, Rates

OVER = (PATIENTS, SESSIONS)
OTHERWISE = "sessions that are no necrosectomy with exactly one known class of instrument"


def sole_class(registry: Registry) -> Grouping:
    """The class of each session that is a necrosectomy with exactly one known class; the classes so used."""
    found = debridements(registry)
    named = found.used[:, : len(COMPARED_CLASSES)]
    alone = (found.classes == 1) & named.any(axis=1)
    place = named.argmax(axis=1)
    labels = [each for each in range(len(COMPARED_CLASSES)) if (place[alone] == each).any()]
    codes = np.full(len(registry.sessions), -1, dtype=np.int64)
    codes[found.session[alone]] = np.searchsorted(labels, place[alone]) if labels else 0
    return Grouping(labels=tuple(COMPARED_CLASSES[each] for each in labels), codes=codes)


@needing("Adverse events by instrument class, one-class sessions", (EVENTS, EVENTS_CHECKED, INSTRUMENTS))
def adverse_events_by_class(
    registry: Registry,
    *,
    event_type: str = ANY,
    window: EventWindow | str = THIRTY_DAYS,
    level: float = 0.95,
) -> Rates:
    """Patients and sessions with an adverse event after a necrosectomy with one class of instrument, by class.

    Counted as by adverse_event_rates: sessions in which nobody looked leave the denominators, an event belongs to the
    session it names. A description: harder cases and later sessions were not given to each class alike.

    Counted: as adverse_event_rates, over patients and necrosectomies in which one class of instrument alone was used.
    Source: Clopper and Pearson, Biometrika 1934;26:404; Korn and Graubard, Survey Methodology 1998;24:193.
    """
    (event_type,) = known_types((event_type,), ())
    window, groups = window_named(window), sole_class(registry)
    seen = watched(registry, groups, window)
    chosen = chosen_events(registry, AGREE, None, None, (seen.event_session >= 0) & of_types(registry, (event_type,)))
    sides = [Watchful.of(seen, place) for place in range(len(groups.labels))]
    rows = [
        {"variable": event_type, "group": place, **row}
        for place, side in enumerate(sides)
        for row in rates_of(
            seen, side, None, chosen.counts & of_type(registry, event_type), OVER, "Clopper–Pearson", level
        )
    ]
    method = denominator_method(window, AGREE, chosen, OVER, "Clopper–Pearson", level)
    return Rates(
        title=f"Adverse events {window.sentence()} by instrument class, one-class sessions",
        frame=_table(rows, event_type, groups),
        population=Population(patients=seen.patients, sessions=seen.sessions, left_out=_left_out(seen.left_out())),
        method=replace(method, definition=f"{method.definition}; necrosectomies with exactly one class of instrument"),
        notes=(*rate_notes(seen, rows, sides, groups.labels, OVER), *_caution(groups)),
    )


def _table(rows: list[dict], event_type: str, groups: Grouping) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(Rates.columns))
    table["variable"] = pd.Categorical(table["variable"], categories=[event_type], ordered=True)
    table["group"] = groups.column(table["group"].to_numpy(dtype=np.int64))
    table["unit"] = pd.Categorical(table["unit"], categories=list(OVER), ordered=True)
    return table


def _left_out(reasons: dict[str, int]) -> dict[str, int]:
    return {
        reason.replace("sessions without a recorded group", OTHERWISE): number
        for reason, number in reasons.items()
        if not reason.startswith("patients")
    }


def _caution(groups: Grouping) -> tuple[Note, ...]:
    text = (
        "Not a comparison of safety: instruments were chosen for the case in hand, an event after a session need not "
        "come from the instrument, and so few events cannot tell classes apart."
    )
    return (Note(code="SMALL_N", text=text),) if groups.labels else ()
