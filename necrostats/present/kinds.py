"""The answer to something that cannot be presented."""

from __future__ import annotations

from necrostats.errors import ChoiceError, unknown_choice


def not_presentable(verb, given: object) -> ChoiceError:
    """The error for a value that a verb (chart, tabulate, findings) knows no way with; it lists what the verb knows."""
    known = sorted(kind.__name__ for kind in verb.registry if kind is not object)
    return unknown_choice("kind of result", type(given).__name__, known)
