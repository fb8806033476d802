"""What a unit looks at every quarter: each indicator as data, with what is counted, of what, and its source."""

from __future__ import annotations

from dataclasses import dataclass

COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True, kw_only=True)
class Indicator:
    """`events` of `of` ("sessions", "patients", "necrosectomies", "stents"), put down to the quarter of `quarter_of`.

    `event_types` and `grade_from` choose adverse events; `matured_at` is the day that must lie before the data lock.
    """

    name: str
    title: str
    events: str
    of: str
    quarter_of: str = "the session"
    event_types: tuple[str, ...] = ()
    grade_from: str | None = None
    matured_at: int = 0
    source: str = COMMON_PRACTICE

    def sentence(self) -> str:
        """What is counted, in words."""
        matured = f", day {self.matured_at} before the data lock" if self.matured_at else ""
        return f"{self.title}: {self.events}, of {self.of}{matured}, by the quarter of {self.quarter_of}."


_WINDOW = "during a session or within 30 days"
_AGREE = "AGREE: Nass KJ et al., Gastrointest Endosc 2022;95:1078 (from memory)"
INDICATORS = (
    Indicator(
        name="adverse events",
        title="Any adverse event",
        events=f"sessions followed by at least one adverse event {_WINDOW}",
        of="sessions after which somebody looked",
        event_types=("any adverse event",),
    ),
    Indicator(
        name="serious events",
        title="Adverse events of AGREE grade IIIa or above",
        events=f"sessions followed by at least one event of grade IIIa or above {_WINDOW}",
        of="sessions after which somebody looked",
        event_types=("any adverse event",),
        grade_from="IIIa",
        source=_AGREE,
    ),
    Indicator(
        name="bleeding",
        title="Bleeding",
        events=f"sessions followed by bleeding {_WINDOW}",
        of="sessions after which somebody looked",
        event_types=("bleeding",),
    ),
    Indicator(
        name="perforation or gas embolism",
        title="Perforation or gas embolism",
        events=f"sessions followed by perforation or gas embolism {_WINDOW}",
        of="sessions after which somebody looked",
        event_types=("perforation", "gas_embolism"),
    ),
    Indicator(
        name="deaths within 30 days",
        title="Death from any cause within 30 days of the index drainage",
        events="patients who died by day 30",
        of="patients",
        quarter_of="the index drainage",
        matured_at=30,
    ),
    Indicator(
        name="deaths within 90 days",
        title="Death from any cause within 90 days of the index drainage",
        events="patients who died by day 90",
        of="patients",
        quarter_of="the index drainage",
        matured_at=90,
    ),
    Indicator(
        name="resolved within 180 days",
        title="Documented resolution within 180 days",
        events="patients with documented resolution by day 180",
        of="patients whose course to day 180 is known",
        quarter_of="the index drainage",
        matured_at=180,
    ),
    Indicator(
        name="surgery",
        title="Surgery within 180 days",
        events="patients with surgical or minimally invasive necrosectomy by day 180",
        of="patients",
        quarter_of="the index drainage",
        matured_at=180,
    ),
    Indicator(
        name="stents out within 28 days",
        title="Lumen-apposing stents removed within 28 days",
        events="stents removed by day 28 after they were placed",
        of="lumen-apposing stents that were removed, or in for longer",
        quarter_of="the index drainage",
    ),
    Indicator(
        name="carbon dioxide",
        title="Carbon dioxide for insufflation",
        events="sessions with carbon dioxide",
        of="sessions with an answer",
    ),
    Indicator(
        name="events looked for",
        title="Adverse events looked for",
        events="sessions after which somebody looked for adverse events",
        of="sessions",
    ),
    Indicator(
        name="yield recorded",
        title="Yield recorded with its unit",
        events="necrosectomies with an amount and its unit",
        of="necrosectomies",
    ),
)
BY_NAME = {indicator.name: indicator for indicator in INDICATORS}
