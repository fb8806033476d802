"""What one cell of an export was read as: the values it gives, by which rule, and what is wrong or in doubt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from necrostats.registry.days import DateRange

Fills = Mapping[str, str]
DATE, PRIVATE = 1, 2
_NOTHING: Fills = MappingProxyType({})


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Reading:
    """A cell read whole, unknown, or set aside.

    `fills`: column → text in the codebook's codes, for the row the cell stands in. `children`: further rows,
    of instruments, events or collections. `date`: what a date can be. `problem` (then nothing else is filled) and
    `question` continue the sentence that begins with the cell; `note` says what a person should still do.
    `withheld`: DATE or PRIVATE, why the cell is not shown. `named`: that the row is there is all the cell says.
    """

    rule: str
    fills: Fills = field(default_factory=lambda: _NOTHING)
    children: tuple[Fills, ...] = ()
    date: DateRange | None = None
    code: str = "NOT_READ"
    problem: str = ""
    question: str = ""
    note: str = ""
    withheld: int = 0
    named: bool = False

    @property
    def says_something(self) -> bool:
        """Whether the cell gives a value, or would have had it been readable."""
        return bool(self.fills or self.children or self.problem or self.question or self.date or self.named)


BLANK = Reading(rule="blank")
NO_RESULT = Reading(
    rule="set aside", code="NO_RESULT", problem="holds a formula whose result was not kept, or is an error"
)


def refused(problem: str, code: str = "NOT_READ") -> Reading:
    """A cell set aside."""
    return Reading(rule="set aside", problem=problem, code=code)


def number_text(value: float) -> str:
    """A number as the tidy form writes it."""
    return format(value, ".15g")
