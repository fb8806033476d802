"""Which adverse events a figure counts: of a type, from a grade on, put down to the treatment this firmly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from necrostats.definitions.grades import GradingScale
from necrostats.errors import DesignError, unknown_choice
from necrostats.registry.codebook import ADVERSE_EVENTS
from necrostats.registry.tables import Registry

ANY = "any adverse event"
EVENT_TYPES = ADVERSE_EVENTS.column("event_type").codes
ATTRIBUTIONS = ADVERSE_EVENTS.column("attribution").codes
SERIOUS = "serious"


@dataclass(frozen=True, kw_only=True, eq=False)
class ChosenEvents:
    """Which events (E,) count, how many lack what it takes to say, and the choice in words (with a leading comma)."""

    counts: np.ndarray
    ungraded: int
    unattributed: int
    words: str

    def left_out(self) -> dict[str, int]:
        """The events that cannot be placed, by reason."""
        return {
            "events without a grade on that scale": self.ungraded,
            "events of which the attribution is not recorded": self.unattributed,
        }


def chosen_events(
    registry: Registry, scale: GradingScale, grade_from: str | None, attribution_from: str | None, within: np.ndarray
) -> ChosenEvents:
    """The events of that grade or graver, put down to the treatment that firmly or more.

    `grade_from` may be "serious". `within` (E,) marks the events that would count: only of these is it said how many
    lack a grade or an attribution. ChoiceError for a grade or attribution that is not on the list.
    """
    events = registry.adverse_events
    grade = scale.serious_from if grade_from == SERIOUS else grade_from
    kept, ungraded = _from(events[scale.column], None if grade is None else scale.at_least(grade), within)
    firm, unattributed = _from(events["attribution"], _at_least(attribution_from), within)
    return ChosenEvents(
        counts=kept & firm, ungraded=ungraded, unattributed=unattributed, words=_words(scale, grade, attribution_from)
    )


def of_type(registry: Registry, variable: str) -> np.ndarray:
    """Which events (E,) are of a type, or of any."""
    types = registry.adverse_events["event_type"]
    return np.ones(len(types), dtype=bool) if variable == ANY else (types == variable).to_numpy(dtype=bool)


def of_types(registry: Registry, variables: Sequence[str]) -> np.ndarray:
    """Which events (E,) are of any of several types."""
    return np.logical_or.reduce([of_type(registry, variable) for variable in variables])


def known_types(event_type: str | Sequence[str] | None, otherwise: tuple[str, ...]) -> tuple[str, ...]:
    """The types asked for, or others where none was; ChoiceError for one that is not on the list."""
    if event_type is None:
        return otherwise
    asked = (event_type,) if isinstance(event_type, str) else tuple(dict.fromkeys(event_type))
    for each in asked:
        if each not in (ANY, *EVENT_TYPES):
            raise unknown_choice("event type", each, (ANY, *EVENT_TYPES))
    return asked


def whole_histories(registry: Registry, what: str) -> None:
    """DesignError for a registry narrowed by `during`: it holds one period's events and everything else."""
    if registry.narrowed_to:
        period = registry.narrowed_to
        raise DesignError(
            f"{what} cannot be taken from a registry narrowed to {period}: it holds the events of that period only, "
            "beside stents and follow-up of all periods. Use the whole registry, or the patients first drained then: "
            f'registry.indexed_in("{period}").'
        )


def _from(values, kept: tuple[str, ...] | None, within: np.ndarray) -> tuple[np.ndarray, int]:
    if kept is None:
        return np.ones(len(values), dtype=bool), 0
    blank = values.isna().to_numpy() & within
    return values.isin(kept).to_numpy(dtype=bool), int(np.count_nonzero(blank))


def _at_least(attribution: str | None) -> tuple[str, ...] | None:
    """That attribution and every firmer one; the codebook lists the firmest first."""
    if attribution is None:
        return None
    if attribution not in ATTRIBUTIONS:
        raise unknown_choice("attribution", attribution, ATTRIBUTIONS)
    return ATTRIBUTIONS[: ATTRIBUTIONS.index(attribution) + 1]


def _words(scale: GradingScale, grade: str | None, attribution: str | None) -> str:
    graded = f", {scale.name} grade {grade} or graver" if grade else ""
    return graded + (f", attribution {attribution} or firmer" if attribution else "")
