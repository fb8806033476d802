"""Did anything change? Each indicator of a quarter against a frozen baseline, with one verdict."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.indicators import BY_NAME, INDICATORS, Indicator
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.indicators import Counted, counted, needed
from necrostats.registry import periods
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Quarters
from necrostats.stats.control_charts import ACTION, predicted_events, share_chart
from necrostats.stats.proportions import clopper_pearson

FEWEST_QUARTERS = 12
SIGNAL, NO_SIGNAL, TOO_EARLY, NOBODY = "signal", "no signal", "too early to say", "nothing to judge"
REFERENCES = (
    "Montgomery, Introduction to Statistical Quality Control (attributes charts)",
    "Brown, Cai and DasGupta, Stat Sci 2001;16:101 (Jeffreys' prior)",
)


def quarter_verdicts(
    registry: Registry,
    *,
    period: str = "",
    baseline: str = "",
    indicators: Sequence[str] | None = None,
    level: float = 0.95,
) -> Quarters:
    """Every indicator in every quarter, and for the quarter `period` (by default the last) whether it is a signal.

    `baseline` is a stretch of quarters such as "2023Q1..2025Q4", frozen: by default all before `period`, and where
    those are fewer than 12 the later ones too, since the review then looks back. A signal lies
    beyond the exact binomial limits of the baseline's share (0.00135 a tail); the expected band carries the baseline's
    own uncertainty (beta-binomial, `level`). With fewer than 12 baseline quarters that hold anything it is too early to
    say, and with nothing in the quarter there is nothing to judge. An indicator that is not recorded has no row, and a
    note. Raises ChoiceError for a quarter or an indicator that is not on its list.

    Counted: of each indicator the sessions, patients or stents of the quarter that can have it.
    Source: Montgomery, Introduction to Statistical Quality Control (attributes charts); Brown, Cai and DasGupta, Stat
        Sci 2001;16:101 (Jeffreys' prior).
    """
    chosen = _chosen(indicators)
    quarter, frozen = _stretches(registry, period, baseline)
    missing = {each.name: [need for need in needed(each) if not need.met(registry)] for each in chosen}
    shown = [each for each in chosen if not missing[each.name]]
    rows = [row for each in shown for row in _rows(each, counted(registry, each), registry, quarter, frozen, level)]
    return Quarters(
        title=f"Indicators by quarter, {quarter} against its baseline" if quarter else "Indicators by quarter",
        frame=_table(rows, [each.title for each in shown], registry.periods),
        population=Population(patients=len(registry.patients), sessions=len(registry.sessions)),
        method=Method(
            estimand="share of each indicator in a quarter, and whether the baseline's share still gives it",
            estimator="counts; limits of an exact p chart at 0.00135 a tail, and the beta-binomial predictive band",
            interval="Clopper–Pearson for each quarter",
            level=level,
            definition=" ".join(each.sentence() for each in shown),
            references=REFERENCES,
        ),
        quarter=quarter,
        baseline=_in_words(frozen, quarter),
        notes=_notes(missing, frozen),
    )


def _chosen(indicators: Sequence[str] | None) -> list[Indicator]:
    named = [indicators] if isinstance(indicators, str) else indicators
    for name in named or ():
        if name not in BY_NAME:
            raise unknown_choice("indicator", name, BY_NAME)
    return list(INDICATORS) if named is None else [BY_NAME[name] for name in dict.fromkeys(named)]


def _stretches(registry: Registry, period: str, baseline: str) -> tuple[str, list[str]]:
    """The quarter to judge and the quarters of the baseline, both within the registry."""
    known = list(registry.periods)
    if not known:
        return "", []
    quarter = periods.parse(period)[-1] if period else known[-1]
    if quarter not in known:
        raise ChoiceError(f"Nothing in {quarter}: this registry runs from {known[0]} to {known[-1]}.")
    place = known.index(quarter)
    usual = known[:place] if place >= FEWEST_QUARTERS else [each for each in known if each != quarter]
    wanted = set(periods.parse(baseline)) if baseline else set(usual)
    if quarter in wanted:
        raise ChoiceError(f"The baseline {baseline} holds {quarter}, the quarter that is judged. Let it end before.")
    return quarter, [each for each in known if each in wanted]


def _in_words(frozen: list[str], quarter: str) -> str:
    if not frozen:
        return ""
    return f"{frozen[0]} to {frozen[-1]}{f' without {quarter}' if frozen[0] < quarter < frozen[-1] else ''}"


def _rows(
    indicator: Indicator, seen: Counted, registry: Registry, quarter: str, frozen: list[str], level: float
) -> list[dict]:
    known = list(registry.periods)
    before = np.array([each in frozen for each in known], dtype=bool)
    k, n = int(seen.events[before].sum()), int(seen.n[before].sum())
    held = int(np.count_nonzero(before & (seen.n > 0)))
    own, limits = clopper_pearson(seen.events, seen.n, level=level), _limits(k, n, seen.n)
    band = predicted_events(k, n, seen.n, level=level)
    beyond = (seen.n > 0) & (held >= FEWEST_QUARTERS) & ((seen.events > limits[1]) | (seen.events < limits[0]))
    return [
        {
            "variable": indicator.title,
            "group": name,
            "unit": indicator.of,
            "events": int(seen.events[place]),
            "n": int(seen.n[place]),
            "per": 1,
            "estimate": own.estimate[place],
            "low": own.low[place],
            "high": own.high[place],
            "centre": k / n if n else np.nan,
            "expected_low": band.low[place],
            "expected_high": band.high[place],
            "action_low": limits[0][place],
            "action_high": limits[1][place],
            "baseline_events": k,
            "baseline_n": n,
            "baseline_quarters": held,
            "signal": bool(beyond[place]),
            "verdict": _verdict(seen, place, held, bool(beyond[place])) if name == quarter else "",
        }
        for place, name in enumerate(known)
    ]


def _limits(k: int, n: int, size: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Exact limits of the baseline's share; where it had no event, or nothing but events, of what that still allows."""
    if 0 < k < n:
        chart = share_chart(k / n, size)
        return chart.low, chart.high
    band = predicted_events(k, n, size, level=1 - 2 * ACTION)
    return band.low, band.high


def _verdict(seen: Counted, place: int, held: int, beyond: bool) -> str:
    if not seen.n[place]:
        return NOBODY
    if held < FEWEST_QUARTERS:
        return TOO_EARLY
    return SIGNAL if beyond else NO_SIGNAL


def _table(rows: list[dict], titles: list[str], known: Sequence[str]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(Quarters.columns))
    table["variable"] = pd.Categorical(table["variable"], categories=titles, ordered=True)
    table["group"] = pd.Categorical(table["group"], categories=list(known), ordered=True)
    return table


def _notes(missing: dict[str, list], frozen: list[str]) -> tuple[Note, ...]:
    lacking = {need: name for name, needs in missing.items() for need in needs}
    notes = [
        Note(code="NOT_RECORDED", text=f"Not computed: {BY_NAME[name].title.lower()}. {need.lacking} {need.remedy}")
        for need, name in lacking.items()
    ]
    if len(frozen) < FEWEST_QUARTERS:
        text = (
            f"The baseline holds {len(frozen)} quarters; with fewer than {FEWEST_QUARTERS} nothing is called a signal."
        )
        notes.append(Note(code="BASELINE_SHORT", text=text))
    text = (
        "Several indicators are looked at: with each, a steady unit gives a false signal at most once in 370 quarters."
    )
    return (*notes, Note(code="MULTIPLICITY", text=text))
