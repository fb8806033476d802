"""Every rule of the codebook, in the order in which one may rely on another."""

from __future__ import annotations

from necrostats.registry import (
    checking_days,
    checking_headers,
    checking_ids,
    checking_values,
)
from necrostats.registry.drafts import Draft, applied

STOP_FIRST = (checking_ids.orphans, checking_ids.of_another_patient, checking_values.life_and_death)
STOP_THEN = (
    checking_days.ranges,
    checking_days.two_kinds_of_period,
    checking_days.after_the_end,
    checking_days.removed_before_placed,
    checking_values.yields,
    checking_values.two_primaries,
)
STOP_LAST = (checking_ids.one_index_collection, checking_ids.drained_on_day_0)
ASK = (
    checking_values.many_sessions,
    checking_values.twins,
    checking_ids.same_again,
    checking_days.after_last_contact,
    checking_days.out_of_order,
    checking_days.event_before_session,
    checking_days.long_in_place,
    checking_values.without_unit,
    checking_values.large_yields,
    checking_values.mixed_units,
    checking_values.volumes,
    checking_values.minutes,
    checking_values.no_instrument,
    checking_values.fatal_events,
    checking_values.grade_against_treatment,
)


ACROSS_PATIENTS = (checking_values.twins, checking_values.mixed_units)


def checked(draft: Draft, *, whole: bool = True) -> Draft:
    """The draft after every rule: what contradicts itself set aside, children after their parents, the rest asked.

    A draft that is not the `whole` holds some of the patients: nothing is asked then that hangs on the others.
    """
    draft = applied(draft, checking_headers.without_required_columns(draft))
    draft = checking_ids.marked(draft)
    draft = applied(draft, checking_ids.without_required_cells(draft))
    draft = applied(draft, checking_ids.twice(draft))
    draft = checking_ids.linked(draft)
    for rules in (STOP_FIRST, STOP_THEN, STOP_LAST):
        for rule in rules:
            draft = applied(draft, rule(draft))
        draft = checking_ids.followed(draft)
    draft = applied(draft, checking_ids.also_treated(draft))
    for rule in ASK if whole else [rule for rule in ASK if rule not in ACROSS_PATIENTS]:
        draft = applied(draft, rule(draft))
    return draft
