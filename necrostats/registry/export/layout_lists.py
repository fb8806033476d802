"""Lists of a layout whose words must be known: languages, habits of ids, tables, headings that say what they become."""

from __future__ import annotations

from necrostats.registry.export.cells import ID_HABITS
from necrostats.registry.export.heading_guesses import meant_by
from necrostats.registry.export.layout_keys import Keys
from necrostats.registry.text import LANGUAGES

_HAPPENINGS = ("adverse_events", "other_interventions", "stents")


def as_headed(keys: Keys, table: str) -> Keys:
    """Columns whose whole heading is a phrase of one target; any other is a problem: nothing is guessed."""
    said = {}
    for heading in keys.texts("as_headed"):
        meant = meant_by(heading, table)
        if len(meant) == 1:
            (to, unit), *_ = meant
            said[heading] = {"to": to, "unit": unit} if unit else to
        else:
            several = " or ".join(to for to, _ in meant)
            keys.problems.add(
                keys.at("as_headed"),
                f"can be {several}" if meant else f"does not say by itself what it becomes in {table}",
                "Write it under columns, with what it becomes.",
                heading,
            )
    return Keys(said, keys.at("as_headed"), keys.problems)


def languages_of(top: Keys) -> tuple[str, ...]:
    """The languages whose words count."""
    known = ("en", *LANGUAGES)
    named = top.texts("language")
    for name in named:
        if name not in known:
            listed = ", ".join(f'"{each}"' for each in known)
            top.problems.add(top.at("language"), "is no language there are words for", f"Write one of: {listed}.", name)
    return tuple(name for name in named if name in known)


def none_happened(top: Keys) -> tuple[str, ...]:
    """Tables that the export lacks because nothing of the kind happened."""
    named = top.texts("none_happened")
    for name in set(named) - set(_HAPPENINGS):
        listed = ", ".join(_HAPPENINGS)
        top.problems.add(
            top.at("none_happened"), "is no table of what may not happen", f"Write any of: {listed}.", name
        )
    return tuple(name for name in named if name in _HAPPENINGS)


def habits_of(ids: Keys) -> tuple[str, ...]:
    """In what two writings of an id may differ."""
    named = ids.texts("ignore")
    for name in set(named) - set(ID_HABITS):
        listed = ", ".join(f'"{each}"' for each in ID_HABITS)
        ids.problems.add(ids.at("ignore"), "is nothing that ids can differ in", f"Write any of: {listed}.", name)
    return tuple(name for name in ID_HABITS if name in named)
