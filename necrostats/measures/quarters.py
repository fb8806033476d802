"""Did anything change? Each indicator of a quarter, or of several, against a frozen baseline, with one verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.indicators import BY_NAME, INDICATORS, Indicator, Target, in_short
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.indicators import Counted, counted, judged_quarter, needed
from necrostats.registry import periods
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Quarters
from necrostats.stats.control_charts import ACTION, predicted_by_rate, predicted_events, rate_chart, share_chart
from necrostats.stats.proportions import clopper_pearson
from necrostats.stats.rates import garwood

FEWEST_QUARTERS = 12
FEW_SESSIONS = 5
SIGNAL, NO_SIGNAL, TOO_EARLY, NOBODY = "signal", "no signal", "too early to say", "nothing to judge"
REFERENCES = (
    "Montgomery, Introduction to Statistical Quality Control (attributes charts)",
    "Brown, Cai and DasGupta, Stat Sci 2001;16:101 (Jeffreys' prior)",
)


@dataclass(frozen=True, kw_only=True)
class _Judged:
    """What is judged of one indicator: `label`, the quarters in it, and the quarters of its baseline."""

    label: str
    quarters: tuple[str, ...]
    baseline: tuple[str, ...]


def quarter_verdicts(
    registry: Registry,
    *,
    period: str = "",
    baseline: str = "",
    indicators: Sequence[str] | None = None,
    targets: Mapping[str, Target] | None = None,
    phases: str = "",
    level: float = 0.95,
) -> Quarters:
    """Every indicator in every quarter, and for `period` (by default the last quarter) whether it is a signal.

    `period` may be several quarters ("2025Q3..2026Q2"): they are judged as one. `baseline` is a stretch of quarters
    such as "2023Q1..2025Q4", frozen: by default all before what is judged, and where those are fewer than 12 the later
    ones too, since the review then looks back. An indicator that needs day 30, 90 or 180 to lie before the data lock is
    judged in the last quarter that has matured. A signal lies beyond the exact binomial or Poisson limits of the
    baseline (0.00135 a tail); the expected band carries the baseline's own uncertainty (beta-binomial or gamma-Poisson,
    `level`). With fewer than 12 baseline quarters that hold anything it is too early to say, and with nothing in the
    quarter there is nothing to judge. An indicator that is not recorded has no row, and a note. `targets`, by the name
    of an indicator, are those of the unit: see `targets_from`. `phases` says in which quarters the unit changed
    something ("2024Q3: new debrider; 2025Q1: checklist"): they are marked, and the baseline stays as it is. Raises
    ChoiceError for a quarter or an indicator that is not on its list, and for phases that cannot be read.

    Counted: of each indicator the sessions, patients, stents or stent-days of the quarter that can have it.
    Source: Montgomery, Introduction to Statistical Quality Control (attributes charts); Brown, Cai and DasGupta, Stat
        Sci 2001;16:101 (Jeffreys' prior).
    """
    chosen = _chosen(indicators)
    judged = _stretch(registry, period, baseline)
    missing = {each.name: [need for need in needed(each) if not need.met(registry)] for each in chosen}
    shown = [each for each in chosen if not missing[each.name]]
    rows = [row for each in shown for row in _rows(registry, each, judged, baseline, targets or {}, level)]
    return Quarters(
        title=f"Indicators by quarter, {judged.label} against its baseline"
        if judged.label
        else "Indicators by quarter",
        frame=_table(rows, [each.title for each in shown], [*registry.periods, judged.label]),
        population=Population(patients=len(registry.patients), sessions=len(registry.sessions)),
        method=Method(
            estimand="share or rate of each indicator in a quarter, and whether that of the baseline still gives it",
            estimator="counts; limits of an exact p chart (of a u chart over stent-days) at 0.00135 a tail, and the "
            "predictive band, beta-binomial or gamma-Poisson",
            interval="Clopper–Pearson for each quarter, Garwood over stent-days",
            level=level,
            definition=in_short(shown),
            references=REFERENCES,
        ),
        quarter=judged.label,
        baseline=_in_words(judged),
        phases=_phases(phases),
        notes=_notes(registry, missing, judged, rows),
    )


def _phases(written: str) -> tuple[tuple[str, str], ...]:
    """Quarters with what began in them, from "2024Q3: new debrider; 2025Q1: checklist"."""
    pairs = [each.partition(":") for each in written.split(";") if each.strip()]
    for quarter, _, what in pairs:
        if len(periods.parse(quarter.strip())) != 1 or not what.strip():
            raise ChoiceError(f'"{written}" names no phases. Write the quarter and what began: "2024Q3: new debrider".')
    return tuple((quarter.strip(), what.strip()) for quarter, _, what in pairs)


def _chosen(indicators: Sequence[str] | None) -> list[Indicator]:
    named = [indicators] if isinstance(indicators, str) else indicators
    for name in named or ():
        if name not in BY_NAME:
            raise unknown_choice("indicator", name, BY_NAME)
    return list(INDICATORS) if named is None else [BY_NAME[name] for name in dict.fromkeys(named)]


def _stretch(registry: Registry, period: str, baseline: str) -> _Judged:
    """What is to be judged and its baseline, both within the registry."""
    known = list(registry.periods)
    if not known:
        return _Judged(label="", quarters=(), baseline=())
    wanted = periods.parse(period) if period else (known[-1],)
    inside = [each for each in known if each in wanted]
    if not inside:
        raise ChoiceError(f"Nothing in {wanted[-1]}: this registry runs from {known[0]} to {known[-1]}.")
    judged = _before(known, inside, wanted[0] if len(wanted) == 1 else f"{wanted[0]}..{wanted[-1]}", baseline)
    if baseline and set(periods.parse(baseline)) & set(inside):
        raise ChoiceError(f"The baseline {baseline} holds {inside[-1]}, which is judged. Let it end before.")
    return judged


def _before(known: list[str], inside: Sequence[str], label: str, baseline: str) -> _Judged:
    """The baseline of a stretch: the quarters named, or those before it, or where they are few all others."""
    before = known[: known.index(inside[0])]
    usual = before if len(before) >= FEWEST_QUARTERS else [each for each in known if each not in inside]
    frozen = [each for each in periods.parse(baseline) if each in known and each not in inside] if baseline else usual
    return _Judged(label=label, quarters=tuple(inside), baseline=tuple(frozen))


def _of_indicator(registry: Registry, indicator: Indicator, judged: _Judged, baseline: str) -> _Judged:
    """The same for one indicator: one that has not matured in the last quarter is judged in the last that has."""
    if not judged.quarters:
        return judged
    ripe = judged_quarter(registry, indicator, judged.quarters[-1])
    if ripe == judged.quarters[-1]:
        return judged
    inside = judged.quarters[: judged.quarters.index(ripe) + 1] if ripe in judged.quarters else (ripe,)
    label = inside[0] if len(inside) == 1 else f"{inside[0]}..{inside[-1]}"
    return _before(list(registry.periods), inside, label, baseline)


def _in_words(judged: _Judged) -> str:
    frozen = judged.baseline
    if not frozen:
        return ""
    within = frozen[0] < judged.quarters[0] and judged.quarters[-1] < frozen[-1]
    return f"{frozen[0]} to {frozen[-1]}{f' without {judged.label}' if within else ''}"


def _rows(
    registry: Registry,
    indicator: Indicator,
    asked: _Judged,
    baseline: str,
    targets: Mapping[str, Target],
    level: float,
) -> list[dict]:
    """One row a quarter, and one for the stretch that is judged where it is more than one quarter."""
    known, judged = list(registry.periods), _of_indicator(registry, indicator, asked, baseline)
    seen = counted(registry, indicator)
    names, seen = _with_stretch(known, seen, judged)
    before = np.array([each in judged.baseline for each in names], dtype=bool)
    k, n = int(seen.events[before].sum()), int(seen.n[before].sum())
    held = int(np.count_nonzero(before & (seen.n > 0)))
    own, limits, band = _estimates(indicator, k, n, seen, level)
    beyond = (seen.n > 0) & (held >= FEWEST_QUARTERS) & ((seen.events > limits[1]) | (seen.events < limits[0]))
    unit = indicator.of if indicator.per == 1 else f"{indicator.per} {indicator.of}"
    return [
        {
            "variable": indicator.title,
            "group": name,
            "unit": unit,
            "events": int(seen.events[place]),
            "n": int(seen.n[place]),
            "per": indicator.per,
            "estimate": own.estimate[place],
            "low": own.low[place],
            "high": own.high[place],
            "centre": k / n if n else np.nan,
            "expected_low": band[0][place],
            "expected_high": band[1][place],
            "action_low": limits[0][place],
            "action_high": limits[1][place],
            "baseline_events": k,
            "baseline_n": n,
            "baseline_quarters": held,
            "signal": bool(beyond[place]),
            "verdict": _verdict(seen, place, held, bool(beyond[place])) if name == judged.label else "",
            "target": _against(targets.get(indicator.name), own, place) if name == judged.label else "",
            "name": indicator.name,
        }
        for place, name in enumerate(names)
    ]


def _with_stretch(known: list[str], seen: Counted, judged: _Judged) -> tuple[list[str], Counted]:
    """The quarters, and after them the stretch as one, where it is more than one."""
    if judged.label in known or not judged.label:
        return known, seen
    inside = np.array([each in judged.quarters for each in known], dtype=bool)
    events, n = (np.append(each, each[inside].sum()) for each in (seen.events, seen.n))
    return [*known, judged.label], Counted(events=events, n=n)


def _estimates(indicator: Indicator, k: int, n: int, seen: Counted, level: float):
    """Interval of each quarter, limits of a signal and band of what is expected: binomial, or Poisson over days."""
    if indicator.per == 1:
        band = predicted_events(k, n, seen.n, level=level)
        return clopper_pearson(seen.events, seen.n, level=level), _share_limits(k, n, seen.n), (band.low, band.high)
    own = garwood(seen.events, seen.n, level=level, per=indicator.per)
    if not n:
        open_ended = np.zeros(seen.n.size), np.full(seen.n.size, np.inf)
        return own, open_ended, open_ended
    band = predicted_by_rate(k, n, seen.n, level=level)
    return own, _rate_limits(k, n, seen.n), (band.low, band.high)


def _share_limits(k: int, n: int, size: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Exact limits of the baseline's share; where it had no event, or nothing but events, of what that still allows."""
    chart = share_chart(k / n, size) if 0 < k < n else predicted_events(k, n, size, level=1 - 2 * ACTION)
    return chart.low, chart.high


def _rate_limits(k: int, n: int, exposure: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Exact limits of the baseline's rate; where it had no event, of what that still allows."""
    chart = rate_chart(k / n, exposure) if k else predicted_by_rate(k, n, exposure, level=1 - 2 * ACTION)
    return chart.low, chart.high


def _against(target: Target | None, own, place: int) -> str:
    """Whether the unit's target is met: only what the whole interval says is said."""
    if target is None or not np.isfinite(own.estimate[place]):
        return ""
    return f"{target.words()}: {target.met(own.low[place], own.high[place])}"


def _verdict(seen: Counted, place: int, held: int, beyond: bool) -> str:
    if not seen.n[place]:
        return NOBODY
    if held < FEWEST_QUARTERS:
        return TOO_EARLY
    return SIGNAL if beyond else NO_SIGNAL


def _table(rows: list[dict], titles: list[str], known: Sequence[str]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(Quarters.columns))
    groups = list(dict.fromkeys([*known, *table["group"]]))
    table["variable"] = pd.Categorical(table["variable"], categories=titles, ordered=True)
    table["group"] = pd.Categorical(table["group"], categories=[each for each in groups if each], ordered=True)
    return table


def _notes(registry: Registry, missing: dict[str, list], judged: _Judged, rows: list[dict]) -> tuple[Note, ...]:
    lacking: dict = {}
    for name, needs in missing.items():
        for need in needs:
            lacking.setdefault(need, []).append(BY_NAME[name].title.lower())
    notes = [
        Note(code="NOT_RECORDED", text=f"Not computed: {'; '.join(names)}. {need.lacking} {need.remedy}")
        for need, names in lacking.items()
    ]
    if later := sorted({row["group"] for row in rows if row["verdict"] and row["group"] != judged.label}):
        named = f"{later[0]} to {later[-1]}" if len(later) > 1 else later[0]
        notes.append(
            Note(code="NOT_MATURED", text=f"What has not matured is judged in the last quarter that has: {named}.")
        )
    held = int(registry.sessions["period"].isin(judged.quarters).sum())
    if judged.label and held < FEW_SESSIONS:
        notes.append(Note(code="SMALL_N", text=_few_sessions(held, judged, registry)))
    if len(judged.baseline) < FEWEST_QUARTERS:
        text = (
            f"The baseline holds {len(judged.baseline)} quarters; "
            f"with fewer than {FEWEST_QUARTERS} nothing is called a signal."
        )
        notes.append(Note(code="BASELINE_SHORT", text=text))
    text = (
        "Several indicators are looked at: with each, a steady unit gives a false signal at most once in 370 quarters."
    )
    return (*notes, Note(code="MULTIPLICITY", text=text))


def _few_sessions(held: int, judged: _Judged, registry: Registry) -> str:
    """That so few sessions tell little, and which period to take instead."""
    known = list(registry.periods)
    first = known[max(known.index(judged.quarters[-1]) - 3, 0)]
    said = f"{judged.label} holds {held} {'session' if held == 1 else 'sessions'}: too few for a rate."
    longer = f" Take several quarters together: period {first}..{judged.quarters[-1]}."
    return said + (longer if first != judged.quarters[0] else "")
