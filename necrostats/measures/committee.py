"""The figures of a review for people outside the unit: small counts hidden, and whatever would give them away."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from necrostats.definitions.indicators import INDICATORS as INDICATORS_KNOWN
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.errors import ChoiceError
from necrostats.measures.adverse_events import adverse_event_rates
from necrostats.measures.case_mix import activity, case_mix
from necrostats.measures.needs import EVENTS, EVENTS_CHECKED, INTERVENTIONS, REVIEWS, SCANS
from necrostats.measures.quarters import quarter_verdicts
from necrostats.registry import periods
from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Suppressed
from necrostats.stats.proportions import clopper_pearson
from necrostats.stats.suppression import shown_counts

COMMITTEE = 5
RESOLVED = "resolved within 180 days"
_OF_LOOKED_AT = tuple(each.name for each in INDICATORS_KNOWN if each.of == "sessions after which somebody looked")
MATURED_AT = 180
REFERENCES = ("Willenborg and de Waal, Elements of Statistical Disclosure Control, 2001 (complementary suppression)",)
CASE_MIX, ACTIVITY, INDICATORS, BASELINE, ENDS, EVENT_TYPES = (
    "Case mix",
    "Sessions",
    "Indicators of the period",
    "Indicators in the baseline",
    "How courses had ended",
    "Adverse events of the period",
)


@dataclass
class _Page:
    """Counts as they are put on the page, each once, with what a reader knows of them.

    `places` finds a count by what it counts; `parts` are the places that add up to another one; `gaps` pairs of places
    of which the difference must not be small.
    """

    values: list[int] = field(default_factory=list)
    places: dict[tuple, int] = field(default_factory=dict)
    parts: list[tuple[list[int], int]] = field(default_factory=list)
    gaps: list[tuple[int, int]] = field(default_factory=list)
    lines: list[dict] = field(default_factory=list)

    def put(self, key: tuple, value: int) -> int:
        """The place of a count; the same key is the same count."""
        if key not in self.places:
            self.places[key] = len(self.values)
            self.values.append(int(value))
        return self.places[key]

    def line(self, section: str, what: str, level: str, k: int, n: int, **more) -> None:
        """A line that prints two counts, by their places."""
        self.lines.append({"section": section, "what": what, "level": level, "k": k, "of": n, **more})
        if k != n:
            self.gaps.append((k, n))

    def shown(self, fewest: int) -> np.ndarray:
        """Which counts may be printed."""
        size = len(self.values)
        equations = np.zeros((len(self.parts), size))
        for row, (parts, total) in zip(equations, self.parts, strict=True):
            row[parts] = 1
            row[total] -= 1
        differences = np.zeros((len(self.gaps), size))
        for row, (less, more) in zip(differences, self.gaps, strict=True):
            row[less], row[more] = -1, 1
        secret = np.vstack([np.eye(size), differences]) if size else np.zeros((0, 0))
        unions = [parts for parts, _ in self.parts if len(parts) > 1]
        return shown_counts(self.values, equations, secret, unions=unions, fewest=fewest)


def committee_figures(
    registry: Registry, *, period: str = "", threshold: int = COMMITTEE, level: float = 0.95
) -> Suppressed:
    """Counts, shares and verdicts of a period for people outside the unit, without counts from 1 to `threshold` − 1.

    Hidden are also: the rest of a total where it is as small, a second level wherever one alone could be worked out
    from the total, and counts by whose difference a small one would be known; with a count its share and interval. 5 is
    common for a committee of the hospital, 11 for what is passed on; what applies is for the local rules to say.
    ChoiceError for a threshold below 2 or a period that is none.

    Counted: sessions and patients of the period, patients drained in it, and all who have been observed for 180 days.
    Source: Willenborg and de Waal, Elements of Statistical Disclosure Control, 2001 (complementary suppression).
    """
    if isinstance(threshold, bool) or threshold != int(threshold) or threshold < 2:
        raise ChoiceError(f"threshold is {threshold}: give the smallest count that may be shown, such as 5 or 11.")
    known = list(registry.periods)
    label = period or (known[-1] if known else "")
    page = _Page()
    if label and set(periods.parse(label)) & set(known):
        for add in (_mix, _sessions, _indicators, _event_types):
            add(page, registry, label)
    _ends(page, registry)
    _keep_apart(page)
    _tie_together(page)
    shown = page.shown(int(threshold))
    return Suppressed(
        title=f"Figures of {label} without counts below {threshold}" if label else "Figures without small counts",
        frame=_frame(page, shown, level),
        population=Population(patients=len(registry.patients)),
        method=Method(
            estimand="counts and shares of a period, as they may be shown outside the unit",
            estimator=f"counts from 1 to {threshold - 1} hidden, and as many others as would give them away",
            interval="Clopper–Pearson",
            level=level,
            definition="hidden: a small count, a small rest, or a count from which one of them could be worked out",
            references=REFERENCES,
        ),
        notes=(Note(code="SMALL_N", text=_hidden_note(page, shown, threshold)),),
        threshold=int(threshold),
    )


def _hidden_note(page: _Page, shown: np.ndarray, threshold: int) -> str:
    hidden = int(np.count_nonzero(~shown))
    return (
        f"{hidden} of {shown.size} counts are hidden: each lies between 1 and {threshold - 1}, leaves such a rest, or "
        "would give another one away. Hiding certifies nothing: read the page before it leaves the unit."
    )


def _partition(page: _Page, section: str, what: str, levels: Iterable[tuple[str, int]], total: int) -> None:
    """The levels of a variable, which add up to its total."""
    places = []
    for level, count in levels:
        place = page.put((section, what, level), count)
        places.append(place)
        page.line(section, what, level, place, total)
    if places:
        page.parts.append((places, total))


def _mix(page: _Page, registry: Registry, label: str) -> None:
    begun = registry.indexed_in(label)
    total = page.put(("patients drained", label), len(begun.patients))
    frame = case_mix(begun).frame
    frame = frame[frame["measure"] == "share"]
    for variable, rows in frame.groupby("variable", observed=True, sort=False):
        levels = [(str(row.level), int(row.events)) for row in rows.itertuples() if row.events > 0]
        missing = int(rows["missing"].iloc[0])
        _partition(page, CASE_MIX, str(variable), [*levels, ("not recorded", missing)] if missing else levels, total)


def _sessions(page: _Page, registry: Registry, label: str) -> None:
    rows = activity(registry.during(label)).frame
    held = page.put(("sessions held", label), len(registry.during(label).sessions))
    levels = [(str(row.level), int(row.events)) for row in rows.itertuples() if row.events > 0]
    _partition(page, ACTIVITY, "session type", levels, held)


def _indicators(page: _Page, registry: Registry, label: str) -> None:
    """Each share indicator in its period and in its baseline; denominators that are the same count are one."""
    result = quarter_verdicts(registry, period=label)
    for row in result.judged().itertuples():
        if row.per != 1:
            continue
        for section, when, k, n, verdict in (
            (INDICATORS, str(row.group), row.events, row.n, row.verdict),
            (BASELINE, f"before {row.group}", row.baseline_events, row.baseline_n, ""),
        ):
            total = page.put(_denominator(row.unit, when, n, label), n)
            page.line(section, str(row.variable), when, page.put((section, row.name, "k"), k), total, verdict=verdict)
            page.put((section, row.name, "n"), n)
            page.parts.append(([page.places[section, row.name, "n"]], total))


def _denominator(unit: str, when: str, n: int, label: str) -> tuple:
    """The key of a denominator: the same number of the same things in the same quarters is the same count."""
    noun = "patients" if "patient" in unit else "stents" if "stent" in unit else "sessions"
    return ("of", noun, when.replace(label, "the period"), int(n))


def _keep_apart(page: _Page) -> None:
    """No two denominators of the same things and quarters, nor the totals of the period, may differ by little."""
    of = [(key, place) for key, place in page.places.items() if key[0] == "of"]
    totals = {
        "sessions": [place for key, place in page.places.items() if key[0] == "sessions held"],
        "patients": [place for key, place in page.places.items() if key[0] == "patients drained"],
    }
    for number, (key, place) in enumerate(of):
        others = [other for also, other in of[number + 1 :] if also[1:3] == key[1:3]]
        others += totals.get(key[1], []) if key[2] == "the period" else []
        for other in others:
            less, more = sorted((place, other), key=lambda each: page.values[each])
            page.gaps.append((less, more))
            if page.values[less] == page.values[more]:
                page.parts.append(([less], more))


def _tie_together(page: _Page) -> None:
    """What a reader knows to be one count, or the sum of others, though it stands in different sections.

    Each tie is kept only where the numbers bear it out.
    """
    yields, looked = (INDICATORS, "yield recorded", "n"), (INDICATORS, "events looked for", "k")
    ties = [
        ([(ACTIVITY, "session type", kind) for kind in NECROSECTOMIES], yields),
        (
            [(section, "resolved within 180 days", "k") for section in (INDICATORS, BASELINE)],
            (ENDS, "course", "resolved"),
        ),
        ([(section, "surgery", "n") for section in (INDICATORS, BASELINE)], ("matured",)),
        ([(INDICATORS, RESOLVED, "k")], (INDICATORS, "more than three sessions", "n")),
        ([(BASELINE, RESOLVED, "k")], (BASELINE, "more than three sessions", "n")),
        *(([looked], (INDICATORS, name, "n")) for name in _OF_LOOKED_AT),
        *(([(BASELINE, *looked[1:])], (BASELINE, name, "n")) for name in _OF_LOOKED_AT),
    ]
    for parts, whole in ties:
        places = [page.places[part] for part in parts if part in page.places]
        total = page.places.get(whole)
        if places and total is not None and sum(page.values[place] for place in places) == page.values[total]:
            page.parts.append((places, total))


def _event_types(page: _Page, registry: Registry, label: str) -> None:
    if not all(need.met(registry) for need in (EVENTS, EVENTS_CHECKED)):
        return
    rows = adverse_event_rates(registry.during(label), units=("patients",)).frame
    watched = int(rows["n"].iloc[0])
    total = page.put(("of", "patients", "the period", watched), watched)
    for row in rows[rows["events"] > 0].itertuples():
        place = page.put((EVENT_TYPES, str(row.variable)), int(row.events))
        page.line(EVENT_TYPES, str(row.variable), "patients", place, total)


def _ends(page: _Page, registry: Registry) -> None:
    """How the courses of all who have been observed for 180 days had ended by then."""
    if not all(need.met(registry) for need in (SCANS, REVIEWS, INTERVENTIONS)):
        return
    matured = registry.matured(MATURED_AT)
    ends = outcomes(matured, DOCUMENTED_RESOLUTION)
    names = [f"{cause} first" if place else cause for place, cause in enumerate(ends.causes)]
    levels = [(name, int(np.count_nonzero(ends.cause == place))) for place, name in enumerate(names, start=1)]
    levels.append(("unresolved at day 180", int(np.count_nonzero(ends.at_horizon))))
    levels.append(("not known", int(np.count_nonzero((ends.cause == 0) & ~ends.at_horizon))))
    total = page.put(("matured",), len(matured.patients))
    _partition(page, ENDS, "course", [(name, count) for name, count in levels if count], total)


def _frame(page: _Page, shown: np.ndarray, level: float) -> pd.DataFrame:
    """One row a line; a hidden count is blank, and with it the share and its limits."""
    rows = []
    for line in page.lines:
        k, n = page.values[line["k"]], page.values[line["of"]]
        events, total = k if shown[line["k"]] else np.nan, n if shown[line["of"]] else np.nan
        both = shown[line["k"]] and shown[line["of"]] and n > 0
        share = clopper_pearson(k, n, level=level) if both else None
        rows.append(
            {
                "section": line["section"],
                "what": line["what"],
                "level": line["level"],
                "events": events,
                "n": total,
                "estimate": share.estimate if both else np.nan,
                "low": share.low if both else np.nan,
                "high": share.high if both else np.nan,
                "verdict": line.get("verdict", ""),
            }
        )
    return pd.DataFrame(rows, columns=list(Suppressed.columns))
