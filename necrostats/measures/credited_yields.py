"""Which yields count for which class of instrument: amounts of necrosectomies, credited by a rule."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from necrostats.definitions.attribution import (
    ANY_USE,
    EQUAL,
    MEASURED,
    PRIMARY_ONLY,
    WHOLE,
    AttributionRule,
)
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.event_follow_up import whole_histories
from necrostats.registry.codebook import COMPARED_CLASSES, INSTRUMENT_USES, MOST_LIKELY_YIELD, NECROSECTOMIES
from necrostats.registry.tables import Registry

UNITS = ("ml", "g", "percent_cleared")
PERCENT = "percent_cleared"
DOUBTFUL = f"necrosectomies with a yield above {MOST_LIKELY_YIELD:,} ml or g that nobody has confirmed"
SILENT = 'necrosectomies with a yield of "more than 0"'
UNIT_NAMES = {"ml": "ml", "g": "g", PERCENT: "% cleared"}
PER = ("session", "minute", "pass")
_CODES = INSTRUMENT_USES.column("instrument_class").codes
CLASSES = (*COMPARED_CLASSES, "other", "unknown")
_PLACE = np.array([CLASSES.index(name) if name in CLASSES else -1 for name in _CODES])
ALL_BUT_TOLD = 0.995  # "100 % cleared" is known to a whole per cent: it enters as more than 99.5 %


@dataclass(frozen=True, kw_only=True, eq=False)
class Debridements:
    """Every necrosectomy: its row in `sessions`, patient, number in the patient's course, and what was used (n, C).

    `low`, `high` (NaN = open, both NaN = no number), `unit` (place in UNITS, -1 = none), `word` (-1 = none), `lavage`,
    whether lavage fluid is counted in the yield, `adjunct`, whether lavage or another adjunct was used, `confirmed`,
    whether a person has confirmed the amount, and the minutes and passes of the session. Of each class (n, C):
    `minutes`, `passes`, the yield recorded for it (`part_low`, `part_high`) and whether it is `primary`; `parted`:
    every class used has a yield.
    """

    session: np.ndarray
    patient: np.ndarray
    number: np.ndarray
    used: np.ndarray
    low: np.ndarray
    high: np.ndarray
    unit: np.ndarray
    word: np.ndarray
    lavage: np.ndarray
    adjunct: np.ndarray
    confirmed: np.ndarray
    session_minutes: np.ndarray
    session_passes: np.ndarray
    minutes: np.ndarray
    passes: np.ndarray
    primary: np.ndarray
    part_low: np.ndarray
    part_high: np.ndarray
    parted: np.ndarray

    @property
    def classes(self) -> np.ndarray:
        """How many classes were used in each (n,), other and unknown among them."""
        return self.used.sum(axis=1)

    @property
    def numbered(self) -> np.ndarray:
        """Whether the yield is a number or a range (n,)."""
        return self.unit >= 0

    @property
    def doubtful(self) -> np.ndarray:
        """Whether the amount is larger than is likely, and unconfirmed (n,)."""
        large = np.fmax(self.low, self.high) > MOST_LIKELY_YIELD
        return large & self.numbered & (self.unit != UNITS.index(PERCENT)) & ~self.confirmed

    @property
    def silent(self) -> np.ndarray:
        """Whether the amount says nothing but "more than 0" (n,)."""
        return self.numbered & (self.low == 0) & np.isnan(self.high)

    def only(self, keep: np.ndarray) -> Debridements:
        """The necrosectomies marked True."""
        return replace(self, **{name: getattr(self, name)[keep] for name in self.__dataclass_fields__})


def debridements(registry: Registry, *, whole: bool = True) -> Debridements:
    """The necrosectomies of a `whole` registry; DesignError for one narrowed to a period, where numbers are lost.

    Without `whole` a narrowed one will do, and `number` counts from its first.
    """
    if whole:
        whole_histories(registry, "The number of a necrosectomy in its patient's course")
    sessions, patient = registry.sessions, registry.position("sessions")
    chosen = np.flatnonzero(sessions["session_type"].isin(NECROSECTOMIES).to_numpy())
    day = sessions["day"].to_numpy(dtype=float, na_value=np.nan)[chosen]
    parts = _parts(registry, len(sessions))
    held = sessions.iloc[chosen]
    unit, low = _place(held["yield_unit"], UNITS), held["yield_low"].to_numpy(dtype=float, na_value=np.nan)
    high = held["yield_high"].to_numpy(dtype=float, na_value=np.nan)
    unit = np.where(np.isnan(low), -1, unit)
    found = {name: each[chosen] for name, each in parts.items()}
    parted = found.pop("parted")
    part_unit, sums = found.pop("part_unit"), [np.nansum(found[name], axis=1) for name in ("part_low", "part_high")]
    open_top = (np.isnan(found["part_high"]) & ~np.isnan(found["part_low"])).any(axis=1)
    instead = parted & ((unit < 0) | (found["used"].sum(axis=1) == 1))
    return Debridements(
        session=chosen,
        patient=patient[chosen].astype(np.int64),
        number=_numbers(patient[chosen], day),
        low=np.where(instead, sums[0], low),
        high=np.where(instead, np.where(open_top, np.nan, sums[1]), high),
        unit=np.where(instead, part_unit, unit),
        word=held["yield_words"].cat.codes.to_numpy().astype(np.int64),
        lavage=held["yield_includes_lavage"].fillna(False).to_numpy(dtype=bool),
        confirmed=held["session_id"].isin(registry.confirmed).to_numpy(),
        session_minutes=held["minutes_debridement"].to_numpy(dtype=float, na_value=np.nan),
        session_passes=held["passes"].to_numpy(dtype=float, na_value=np.nan),
        parted=parted & (np.where(instead, part_unit, unit) == part_unit),
        **found,
    )


def _place(values: pd.Series, names: tuple[str, ...]) -> np.ndarray:
    codes = np.array([names.index(name) if name in names else -1 for name in values.cat.categories] + [-1])
    return codes[values.cat.codes.to_numpy()]


def _numbers(patient: np.ndarray, day: np.ndarray) -> np.ndarray:
    """1, 2, 3 … for the necrosectomies of each patient, by day and then as they stand."""
    order = np.lexsort((np.arange(day.size), day, patient))
    ranked = pd.Series(1, index=order).groupby(patient[order]).cumsum()
    return ranked.reindex(range(day.size)).to_numpy(dtype=np.int64)


def _parts(registry: Registry, n: int) -> dict[str, np.ndarray]:
    """What the uses say of each session and class; two uses of a class in one session are added up."""
    uses, c = registry.instrument_uses, len(CLASSES)
    place = _PLACE[uses["instrument_class"].cat.codes.to_numpy()]
    session = registry.position("instrument_uses", "sessions").astype(np.int64)
    kept = (place >= 0) & (session >= 0)
    cell = (session * c + place)[kept]
    used = np.bincount(cell, minlength=n * c).reshape(n, c) > 0

    def summed(name: str) -> np.ndarray:
        """Their sum in each cell; NaN where a use has none."""
        values = uses[name].to_numpy(dtype=float, na_value=np.nan)[kept]
        total = np.bincount(cell, weights=values, minlength=n * c)
        return np.where(used, total.reshape(n, c), np.nan)

    adjunct = np.bincount(session[(place < 0) & (session >= 0)], minlength=n) > 0
    primary = uses["is_primary"].fillna(False).to_numpy(dtype=bool)[kept]
    unit = _place(uses["yield_unit"], UNITS)[kept]
    low = summed("yield_low")
    lowest, highest = (np.full(n, each) for each in (len(UNITS), -2))
    np.minimum.at(lowest, cell // c, unit)
    np.maximum.at(highest, cell // c, unit)
    told = ~(used & np.isnan(low)).any(axis=1) & used.any(axis=1)
    parted = told & (lowest == highest) & (lowest >= 0) & ~((lowest == UNITS.index(PERCENT)) & (used.sum(axis=1) > 1))
    return {
        "used": used,
        "adjunct": adjunct,
        "minutes": summed("minutes"),
        "passes": summed("passes"),
        "primary": np.bincount(cell, weights=primary, minlength=n * c).reshape(n, c) > 0,
        "part_low": np.where(parted[:, None], low, np.nan),
        "part_high": np.where(parted[:, None], summed("yield_high"), np.nan),
        "parted": parted,
        "part_unit": np.where(parted, lowest, -1),
    }


@dataclass(frozen=True, kw_only=True, eq=False)
class Credited:
    """Rows to compare, one a session (or one a class of a session where the rule divides), all in one unit.

    `row`: which of the debridements; `instrument` (n,): place in CLASSES (-1 under the additive model); `used`
    (n, C); amounts from `low` (0 = open) to `high` (infinite = open); `nothing`: no yield at all.
    """

    row: np.ndarray
    patient: np.ndarray
    instrument: np.ndarray
    used: np.ndarray
    low: np.ndarray
    high: np.ndarray
    nothing: np.ndarray
    left_out: dict[str, int]
    unit: str
    per: str = "session"

    def only(self, keep: np.ndarray) -> Credited:
        """The rows marked True."""
        names = ("row", "patient", "instrument", "used", "low", "high", "nothing")
        return replace(self, **{name: getattr(self, name)[keep] for name in names})

    @property
    def scale(self) -> tuple[np.ndarray, np.ndarray]:
        """The amounts as the models take them: logs, or logits of a share cleared; −∞ and ∞ where open."""
        if self.unit != PERCENT:
            with np.errstate(divide="ignore"):
                return np.log(self.low), np.log(self.high)
        whole = self.high >= 100
        low = np.where(whole & (self.low >= 100 * ALL_BUT_TOLD), 100 * ALL_BUT_TOLD, self.low)
        share = low / 100, np.where(whole, 1.0, self.high / 100)
        with np.errstate(divide="ignore"):
            return tuple(np.log(each) - np.log1p(-each) for each in share)


def usual_unit(found: Debridements) -> str:
    """The unit in which most yields are given; millilitres where none is."""
    counts = np.bincount(found.unit[found.numbered], minlength=len(UNITS))
    return UNITS[int(counts.argmax())]


def known_unit(unit: str | None, found: Debridements) -> str:
    """The unit asked for, or the usual one; ChoiceError for one that is not on the list."""
    if not unit:
        return usual_unit(found)
    named = {"percent": PERCENT, "%": PERCENT, "% cleared": PERCENT}.get(unit, unit)
    if named not in UNITS:
        raise unknown_choice("unit of yield", unit, UNITS)
    return named


def known_per(per: str, rule: AttributionRule) -> str:
    """What a yield is divided by; ChoiceError where it cannot be."""
    if per not in PER:
        raise unknown_choice("measure of yield", per, PER)
    if per != "session" and rule.divides:
        raise ChoiceError(
            f'Yield per {per} does not go with the rule "{rule.name}". Take another rule, or per session.'
        )
    return per


def credited(found: Debridements, rule: AttributionRule, unit: str, per: str = "session") -> Credited:
    """The amounts in `unit` that `rule` credits, and why other necrosectomies are left out."""
    per = known_per(per, rule)
    by = _measured_by(found) if rule.credit == MEASURED else None
    divisor = _divisor(found, per)
    shares = np.full(found.session.size, per != "session" and unit == PERCENT)
    named = f"necrosectomies whose yield is given in another unit than {UNIT_NAMES[unit]}"
    steps = {
        "necrosectomies with lavage or another adjunct alone": (found.classes == 0) & found.adjunct,
        "necrosectomies without a recorded instrument class": found.classes == 0,
        "necrosectomies with an instrument of class other or unknown": found.used[:, len(COMPARED_CLASSES) :].any(1),
        **_by_rule(found, rule, by),
        "necrosectomies with a yield in words only": ~found.numbered & (found.word >= 0),
        "necrosectomies without a yield": ~found.numbered & (found.word < 0),
        DOUBTFUL: found.doubtful,
        "necrosectomies whose yield includes lavage fluid": found.lavage,
        named: found.unit != UNITS.index(unit),
        SILENT: found.silent,
        f"necrosectomies without {'minutes' if per == 'minute' else 'passes'}": ~(divisor > 0),
        f"necrosectomies with a share cleared, which is not divided by {per}": shares,
    }
    kept, left_out = np.ones(found.session.size, dtype=bool), {}
    for reason, excluded in steps.items():
        left_out[reason] = int(np.count_nonzero(kept & excluded))
        kept &= ~excluded
    return _rows(found, kept, rule, by, divisor, left_out, unit, per)


def _by_rule(found: Debridements, rule: AttributionRule, by: np.ndarray | None) -> dict[str, np.ndarray]:
    several = found.classes > 1
    if rule.credit == WHOLE:
        return {"necrosectomies with more than one instrument class": several}
    if rule.credit == PRIMARY_ONLY:
        return {"shared necrosectomies without a declared primary": several & (found.primary.sum(axis=1) != 1)}
    if by is not None:
        untold = several & ~found.parted & np.isnan(by).any(axis=1)
        return {"shared necrosectomies without minutes or passes of each class": untold}
    return {}


def _measured_by(found: Debridements) -> np.ndarray:
    """The part of each class (n, C), by minutes or else by passes; a row of NaN where neither is known of all."""
    parts = np.full(found.used.shape, np.nan)
    for measured in (found.passes, found.minutes):
        amounts = np.where(found.used, measured, 0.0)
        total = amounts.sum(axis=1)
        known = ~np.isnan(total) & (total > 0) & ~((amounts <= 0) & found.used).any(axis=1)
        parts[known] = amounts[known] / total[known, None]
    return parts


def _divisor(found: Debridements, per: str) -> np.ndarray:
    """Minutes of debridement, or passes, of each session; else the sum over its instruments, where each has one."""
    if per == "session":
        return np.ones(found.session.size)
    whole, parts = {
        "minute": (found.session_minutes, found.minutes),
        "pass": (found.session_passes, found.passes),
    }[per]
    return np.where(np.isnan(whole), np.where(found.used, parts, 0.0).sum(axis=1), whole)


def _rows(found, kept, rule, by, divisor, left_out, unit, per) -> Credited:
    with np.errstate(invalid="ignore", divide="ignore"):
        low, high = found.low / divisor, np.where(np.isnan(found.high), np.inf, found.high) / divisor
    if rule.divides:
        row, instrument, low, high = _divided(found, kept, rule, by)
    else:
        row = np.flatnonzero(kept)
        chosen = found.primary if rule.credit == PRIMARY_ONLY else found.used
        chosen = np.where((found.classes == 1)[:, None], found.used, chosen)
        instrument = np.full(row.size, -1) if rule.credit == ANY_USE else chosen[row].argmax(axis=1)
        low, high = low[row], high[row]
    return Credited(
        row=row,
        patient=found.patient[row],
        instrument=instrument,
        used=found.used[row],
        low=low,
        high=high,
        nothing=(low == 0) & (high == 0),
        left_out=left_out,
        unit=unit,
        per=per,
    )


def _divided(found: Debridements, kept: np.ndarray, rule: AttributionRule, by: np.ndarray | None):
    """A row for each class of each session; what was recorded by instrument comes before any division."""
    row, instrument = np.nonzero(found.used & kept[:, None])
    part = 1 / found.classes[row] if rule.credit == EQUAL else by[row, instrument]
    part = np.where(found.classes[row] == 1, 1.0, part)
    own = found.parted[row]
    low = np.where(own, found.part_low[row, instrument], found.low[row] * part)
    high = np.where(own, found.part_high[row, instrument], found.high[row] * part)
    return row, instrument, low, np.where(np.isnan(high), np.inf, high)
