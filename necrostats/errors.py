"""One tree of exceptions: everything necrostats raises on purpose is a NecrostatsError.

Messages are written for the person at the spreadsheet: what is wrong, where, and what to do.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from necrostats.visible import visible


class NecrostatsError(Exception):
    """Base of every error raised on purpose; its text is fit to print as it stands."""

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows in place of a traceback: what is wrong and what to do."""
        return visible(str(self)).splitlines()


class SourceError(NecrostatsError):
    """The source cannot be read at all: missing, empty, mislabelled or damaged."""


class RegistryError(NecrostatsError):
    """The source was read, but what it holds cannot be used as a registry; `findings` (a table) say why."""

    def __init__(self, message: str, *, findings=None) -> None:
        super().__init__(message)
        self.findings = findings


class ChoiceError(NecrostatsError, ValueError):
    """A choice that is not on the list."""


class StatisticsError(NecrostatsError, ValueError):
    """Numbers that no estimator can take: more events than subjects, a negative time."""


class DesignError(NecrostatsError, ValueError):
    """A question that the data can answer only wrongly, such as grouping by something known later."""


class ReportError(NecrostatsError):
    """A report could not be run or written."""


def unknown_choice(what: str, value: object, choices: Iterable[str]) -> ChoiceError:
    """The error for a choice off the list: names the value, the nearest match and the whole list."""
    listed = [str(choice) for choice in choices]
    near = difflib.get_close_matches(str(value), listed, n=1)
    hint = f' Did you mean "{near[0]}"?' if near else ""
    return ChoiceError(f'"{value}" is not a known {what}.{hint} Choose from: {quoted(listed)}.')


def quoted(names: Iterable[str]) -> str:
    """Names one after another, in quotation marks where a name holds a comma itself."""
    names = [str(name) for name in names]
    return ", ".join(f'"{name}"' for name in names) if any("," in name for name in names) else ", ".join(names)
