"""What a check of a draft found: one finding for each number, word or mark that is not as in the results."""

from __future__ import annotations

import html
from dataclasses import dataclass

import pandas as pd

from necrostats.shown import framed

DISAGREES, NO_SOURCE, MIXED_UNITS, OTHER_NAME, STALE = (
    "no longer agrees",
    "has no source",
    "mixes units",
    "names another group or outcome",
    "rests on other data or definitions",
)


@dataclass(frozen=True, kw_only=True)
class DraftFinding:
    """A number, word or mark of a draft that is not as in the results."""

    where: str
    problem: str
    written: str
    expected: str
    source: str
    sentence: str


@dataclass(frozen=True, kw_only=True)
class DraftCheck:
    """What a check found. `numbers` were compared; `passed_over` stand in sections that are the author's own."""

    name: str
    findings: tuple[DraftFinding, ...]
    numbers: int
    passed_over: int
    stale: bool | None

    @property
    def frame(self) -> pd.DataFrame:
        """The findings as a data frame, one row each."""
        columns = list(DraftFinding.__dataclass_fields__)
        return pd.DataFrame([[getattr(each, name) for name in columns] for each in self.findings], columns=columns)

    @property
    def summary(self) -> str:
        """What was found, in a sentence or two."""
        found = (
            f"{len(self.findings)} finding{'' if len(self.findings) == 1 else 's'}"
            if self.findings
            else "nothing to mend"
        )
        own = f"; {self.passed_over} in the author's own sections were not" if self.passed_over else ""
        marks = {
            None: " The draft carries no mark of its data and definitions: whether they are these is unknown.",
            True: " The draft rests on other data or definitions than these.",
            False: "",
        }
        return f"{self.name}: {found} ({self.numbers} numbers compared{own}).{marks[self.stale]}"

    def __str__(self) -> str:
        return "\n".join([self.summary, *map(_line, self.findings)])

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        items = "".join(f"<li>{html.escape(_line(each))}</li>" for each in self.findings)
        return framed(f"<p>{html.escape(self.summary)}</p>" + (f"<ul>{items}</ul>" if items else ""))


def _line(finding: DraftFinding) -> str:
    expected = f'; in the results "{finding.expected}"' if finding.expected else ""
    source = f" ({finding.source})" if finding.source else ""
    return f'  {finding.where}: "{finding.written}" {finding.problem}{expected}{source}. In: {finding.sentence}'
