"""What a unit looks at every quarter: each indicator as data, with what is counted, of what, and its source."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from necrostats.definitions.adverse_events import THIRTY_DAYS
from necrostats.errors import ChoiceError, SourceError, unknown_choice

COMMON_PRACTICE = "common practice, no source"
MET, NOT_MET, OPEN = "met", "not met", "cannot be told yet"


@dataclass(frozen=True, kw_only=True)
class Target:
    """What a unit has set itself for a share: `at_least` or `at_most`, from 0 to 1."""

    at_least: float | None = None
    at_most: float | None = None

    def __post_init__(self) -> None:
        given = [value for value in (self.at_least, self.at_most) if value is not None]
        if len(given) != 1 or isinstance(given[0], bool) or not 0 <= given[0] <= 1:
            raise ChoiceError("A target is at_least or at_most, one of them, a share from 0 to 1 such as 0.95.")

    def words(self) -> str:
        """ "at least 95 %"."""
        side, value = ("at least", self.at_least) if self.at_most is None else ("at most", self.at_most)
        return f"{side} {100 * value:g} %"

    def met(self, low: float, high: float) -> str:
        """Whether it is met, by an interval: only where all of it lies on one side."""
        if self.at_most is None:
            return MET if low >= self.at_least else NOT_MET if high < self.at_least else OPEN
        return MET if high <= self.at_most else NOT_MET if low > self.at_most else OPEN


def targets_from(path: str | Path) -> Mapping[str, Target]:
    """The unit's own targets, from a TOML file with a line an indicator: "events looked for" = { at_least = 0.95 }.

    A blank path is none.
    SourceError where the file cannot be read, ChoiceError for an indicator that there is not or no share of one.
    """
    if not str(path):
        return {}
    try:
        written = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SourceError(
            f"{path} cannot be read as targets ({error}). Write it as TOML, a line an indicator."
        ) from None
    return {name: _target(name, value) for name, value in written.items()}


def _target(name: str, value: object) -> Target:
    if name not in BY_NAME:
        raise unknown_choice("indicator", name, BY_NAME)
    if BY_NAME[name].per != 1:
        raise ChoiceError(f'"{name}" is a rate over days; targets are for shares.')
    if not isinstance(value, Mapping) or not set(value) <= {"at_least", "at_most"}:
        raise ChoiceError(f'Write the target of "{name}" as {{ at_least = 0.95 }} or {{ at_most = 0.05 }}.')
    return Target(**value)


@dataclass(frozen=True, kw_only=True)
class Indicator:
    """`events` of `of` ("sessions", "patients", "necrosectomies", "stents"), put down to the quarter of `quarter_of`.

    `event_types` and `grade_from` choose adverse events, `treated_as` those treated so; `matured_at` is the day that
    must lie before the data lock. `per` 1 is a share; else a rate per so many of the `of` ("stent-days").
    """

    name: str
    title: str
    events: str
    of: str
    quarter_of: str = "the session"
    event_types: tuple[str, ...] = ()
    grade_from: str | None = None
    treated_as: tuple[str, ...] = ()
    matured_at: int = 0
    per: int = 1
    source: str = COMMON_PRACTICE

    def sentence(self) -> str:
        """What is counted, in words."""
        matured = f", day {self.matured_at} before the data lock" if self.matured_at else ""
        said = f"{self.title}: {self.events}, of {self.of}{matured}, by the quarter of {self.quarter_of}."
        return f"{said} {_WINDOW}" if self.in_window else said

    @property
    def wanted_rarely(self) -> bool:
        """Whether it counts what a unit wants as rarely as can be: adverse events, deaths, surgery, many sessions."""
        return bool(self.event_types) or self.name in _WANTED_RARELY

    @property
    def in_window(self) -> bool:
        """Whether it counts adverse events in the window after a session."""
        return bool(self.event_types) and self.per == 1


_WINDOW = f"Adverse events count {THIRTY_DAYS.sentence()}."
_QUARTER = (
    "Sessions, necrosectomies and patients treated go by the quarter of the session, all else by that of the index "
    "drainage."
)
_AGREE = "AGREE: Nass KJ et al., Gastrointest Endosc 2022;95:1078 (from memory)"
_NEEDED_TREATMENT = ("transfusion", "endoscopic", "radiological", "surgical", "organ_support")
_WANTED_RARELY = ("deaths within 30 days", "deaths within 90 days", "surgery", "more than three sessions")
LATE_ENOUGH = 28
"""Days from onset after which a collection is expected to be walled off (revised Atlanta classification)."""
INDICATORS = (
    Indicator(
        name="late drainage",
        title=f"Index drainage {LATE_ENOUGH} days or more after onset",
        events=f"patients drained {LATE_ENOUGH} days or more after onset",
        of="patients with a known onset",
        quarter_of="the index drainage",
        source="Banks et al., Gut 2013;62:102 (walled-off necrosis usually after 4 weeks)",
    ),
    Indicator(
        name="drainage worked",
        title="Technical success of the index drainage",
        events="patients with a transmural stent placed on day 0 and no maldeployment that day",
        of="patients",
        quarter_of="the index drainage",
    ),
    Indicator(
        name="adverse events",
        title="Any adverse event",
        events="sessions followed by at least one adverse event",
        of="sessions after which somebody looked",
        event_types=("any adverse event",),
    ),
    Indicator(
        name="serious events",
        title="Adverse events of AGREE grade IIIa or above",
        events="sessions followed by at least one event of grade IIIa or above",
        of="sessions after which somebody looked",
        event_types=("any adverse event",),
        grade_from="IIIa",
        source=_AGREE,
    ),
    Indicator(
        name="bleeding",
        title="Bleeding",
        events="sessions followed by bleeding",
        of="sessions after which somebody looked",
        event_types=("bleeding",),
    ),
    Indicator(
        name="serious events of patients",
        title="Patients with an adverse event of AGREE grade IIIa or above",
        events="patients with at least one event of grade IIIa or above after a session of the quarter",
        of="patients treated, once a quarter",
        event_types=("any adverse event",),
        grade_from="IIIa",
        source=_AGREE,
    ),
    Indicator(
        name="bleeding that needed treatment",
        title="Patients with bleeding that needed treatment",
        events="patients with bleeding treated by transfusion, endoscopy, radiology or surgery after a session of the "
        "quarter",
        of="patients treated, once a quarter",
        event_types=("bleeding",),
        treated_as=_NEEDED_TREATMENT,
    ),
    Indicator(
        name="bleeding over stent-days",
        title="Bleeding that needed treatment while a transmural stent was in",
        events="bleeding treated by transfusion, endoscopy, radiology or surgery on a day with a transmural stent in",
        of="stent-days",
        quarter_of="the index drainage",
        event_types=("bleeding",),
        treated_as=_NEEDED_TREATMENT,
        per=1000,
    ),
    Indicator(
        name="extra nights",
        title="Adverse events that cost nights in hospital",
        events="sessions followed by an event with extra nights",
        of="sessions after which somebody looked",
        event_types=("any adverse event",),
    ),
    Indicator(
        name="intensive care nights",
        title="Adverse events that cost nights in intensive care",
        events="sessions followed by an event with nights in intensive care",
        of="sessions after which somebody looked",
        event_types=("any adverse event",),
    ),
    Indicator(
        name="perforation or gas embolism",
        title="Perforation or gas embolism",
        events="sessions followed by perforation or gas embolism",
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
        name="more than three sessions",
        title="More than three necrosectomies until documented resolution",
        events="patients with more than three necrosectomies up to the resolution",
        of="patients with documented resolution by day 180",
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
        name="scan after drainage",
        title="Scan within 30 days of the index drainage",
        events="patients scanned on one of the days 1 to 30",
        of="patients",
        quarter_of="the index drainage",
        matured_at=30,
    ),
    Indicator(
        name="outcome known",
        title="Outcome at 90 days known",
        events="patients who had resolved, died or been operated by day 90, or were seen on that day or later",
        of="patients",
        quarter_of="the index drainage",
        matured_at=90,
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
HEADLINE = ("serious events", "bleeding", "deaths within 90 days", "resolved within 180 days", "events looked for")
"""The five that open a review."""
BY_NAME = {indicator.name: indicator for indicator in INDICATORS}


def _without_noun(events: str) -> str:
    """ "sessions followed by bleeding" → "followed by bleeding", where the denominator has named them."""
    noun, _, rest = events.partition(" ")
    return rest if noun in ("sessions", "patients", "necrosectomies", "stents") else events


def in_short(indicators: Sequence[Indicator]) -> str:
    """What is counted of each, those of one denominator together."""
    together: dict[str, list[str]] = {}
    for each in indicators:
        of = f"{each.of}, observed to day {each.matured_at}" if each.matured_at else each.of
        together.setdefault(of, []).append(_without_noun(each.events))
    said = [f"Of {of}: {'; '.join(events)}." for of, events in together.items()]
    return " ".join([*said, _QUARTER, *([_WINDOW] if any(each.in_window for each in indicators) else [])])
