"""Ratios of yields between classes of instrument under one rule: which rows count, and what each model says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from necrostats.definitions.attribution import ANY_USE, AttributionRule
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.credited_yields import PERCENT, UNIT_NAMES, Credited, Debridements, credited
from necrostats.measures.grouping import counted
from necrostats.measures.yield_models import (
    BANDED,
    INTERCEPT,
    POOLED,
    WITHIN,
    Covariate,
    Difference,
    Rows,
    banded,
    covariates,
    exchanged_within,
    yield_model,
)
from necrostats.registry.codebook import ADJUNCTS, COMPARED_CLASSES
from necrostats.registry.tables import Registry
from necrostats.results import Note

FEWEST_SESSIONS, FEWEST_PATIENTS = 5, 3
FEWEST_KNOWN = 0.5
KINDS = {POOLED: "crude", INTERCEPT: "adjusted", WITHIN: "within patients"}


def measure_of(kind: str, unit: str) -> str:
    """What is estimated: "ratio of geometric means, adjusted"."""
    ratio = "ratio of the odds of cleared necrosis" if unit == PERCENT else "ratio of geometric means"
    return f"{ratio}, {KINDS[kind]}"


def variable_of(unit: str, per: str) -> str:
    """The yield with its unit: "yield, ml", "yield per minute, ml"."""
    return f"yield{'' if per == 'session' else f' per {per}'}, {UNIT_NAMES[unit]}"


def class_name(place: int) -> str:
    """A class as it is written in sentences."""
    return COMPARED_CLASSES[place].replace("_", " ")


def class_place(name: str | None) -> int | None:
    """The place of a class that may be compared, None where none is named; ChoiceError for adjuncts and the unknown."""
    if not name:
        return None
    plain = str(name).strip().replace(" ", "_")
    if plain in ADJUNCTS:
        raise ChoiceError(
            f"{name} is an adjunct: it is given beside an instrument and never compared on yield. "
            f"Choose from: {', '.join(COMPARED_CLASSES)}."
        )
    if plain not in COMPARED_CLASSES:
        raise unknown_choice("class of instrument", name, COMPARED_CLASSES)
    return COMPARED_CLASSES.index(plain)


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One class among the rows that count: sessions and patients with a yield, with some yield, and how it is known.

    `open_above`, `open_below` count "more than" and "less than"; `ranged` every yield that is not one number.
    """

    place: int
    sessions: int
    patients: int
    nothing: int
    some: int
    some_patients: int
    ranged: int
    open_above: int
    open_below: int

    @property
    def large_enough(self) -> bool:
        """At least 5 sessions with some yield and 3 patients."""
        return self.some >= FEWEST_SESSIONS and self.some_patients >= FEWEST_PATIENTS

    @property
    def one_sided(self) -> bool:
        """Whether every yield is only a limit on the same side, so that no mean can be told."""
        return self.some > 0 and self.some in (self.open_above, self.open_below)

    @property
    def modelled(self) -> bool:
        """Whether the class may enter a model."""
        return self.large_enough and not self.one_sided


@dataclass(frozen=True, kw_only=True, eq=False)
class Setting:
    """The rows of one rule, unit and set of sessions, with the classes compared (places in COMPARED_CLASSES).

    `pair_only`: the models hold the two classes of the primary contrast and no other (but for the additive model,
    which needs every class of a session).
    """

    registry: Registry
    found: Debridements
    rows: Credited
    rule: AttributionRule
    cells: tuple[Cell, ...]
    reference: int | None
    primary: int | None
    level: float
    pair_only: bool = False

    @property
    def member(self) -> np.ndarray:
        """Which classes each row stands for (n, c)."""
        return members(self.rows, self.rule)

    @property
    def modelled(self) -> tuple[int, ...]:
        """The classes that may enter a model."""
        places = tuple(cell.place for cell in self.cells if cell.modelled)
        if not self.pair_only or self.rule.credit == ANY_USE:
            return places
        return tuple(place for place in places if place in (self.reference, self.primary))

    @property
    def others(self) -> tuple[int, ...]:
        """The classes compared with the reference, the primary one first."""
        rest = [place for place in self.modelled if place not in (self.reference, self.primary)]
        chosen = self.primary is not None and self.primary in self.modelled
        return (*([self.primary] if chosen else []), *rest) if self.reference in self.modelled else ()


def members(rows: Credited, rule: AttributionRule) -> np.ndarray:
    """Which classes each row stands for (n, c): those used, or the one it is credited to."""
    if rule.credit == ANY_USE:
        return rows.used[:, : len(COMPARED_CLASSES)]
    return rows.instrument[:, None] == np.arange(len(COMPARED_CLASSES))


def setting(
    registry: Registry,
    found: Debridements,
    rule: AttributionRule,
    *,
    unit: str,
    per: str,
    level: float,
    reference: int | None = None,
    primary: int | None = None,
    among: np.ndarray | None = None,
    pair_only: bool = False,
) -> Setting:
    """The rows that count and the classes compared, those with most sessions where they are not given.

    `among`: which debridements to look at (n,), all where it is None; `pair_only` as in Setting.
    """
    rows = credited(found, rule, unit, per)
    if among is not None:
        rows = rows.only(among[rows.row])
    cells = _cells(rows, members(rows, rule))
    ranked = sorted((cell for cell in cells if cell.modelled), key=lambda cell: -cell.some)
    places = [cell.place for cell in ranked]
    if reference is None:
        reference = next((place for place in places if place != primary), None)
    if primary is None:
        primary = next((place for place in places if place != reference), None)
    return Setting(
        registry=registry,
        found=found,
        rows=rows,
        rule=rule,
        cells=cells,
        reference=reference,
        primary=primary,
        level=level,
        pair_only=pair_only,
    )


def _cells(rows: Credited, member: np.ndarray) -> tuple[Cell, ...]:
    some = ~rows.nothing
    low, high = rows.scale
    above, below = np.isposinf(high), np.isneginf(low) & some
    return tuple(
        Cell(
            place=place,
            sessions=int(here.sum()),
            patients=np.unique(rows.patient[here]).size,
            nothing=int((here & rows.nothing).sum()),
            some=int((here & some).sum()),
            some_patients=np.unique(rows.patient[here & some]).size,
            ranged=int((here & (rows.low != rows.high)).sum()),
            open_above=int((here & above).sum()),
            open_below=int((here & below).sum()),
        )
        for place, here in enumerate(member.T)
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Compared:
    """What one model says: for each class its difference from the reference, and the sessions and patients in it.

    `crowded`: too many terms for so few yields, so that it was not fitted.
    """

    kind: str
    differences: dict[int, Difference]
    sessions: dict[int, int]
    patients: dict[int, int]
    adjusted_for: tuple[str, ...]
    spread: float = np.nan
    permutation_p: float = np.nan
    ranged: bool = False
    rows: int = 0
    crowded: bool = False
    all_patients: int = 0
    left_out: dict[str, int] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()


def compared(asked: Setting, kind: str, adjust: Sequence[str] = (), *, exchanged: bool = False) -> Compared:
    """The differences of all classes from the reference by one kind of model; with `exchanged` the permutation test.

    Where the yields are too few for all classes and adjustments at once, the model holds the two classes of the
    primary contrast alone, and then as many of the adjustments, in their order, as it can; a note says so.
    """
    each = covariates(asked.registry, asked.found, adjust if kind != POOLED else ())
    usable, notes = _usable(asked, each)
    first = None
    for simpler, some in _simpler(asked, usable):
        found = _compared(simpler, kind, some, notes, exchanged)
        first = first or found
        if found is first and not found.crowded:
            return found
        if not found.crowded:
            return replace(found, notes=(*found.notes, _simplified(asked, simpler, usable, some, kind)))
    return first


def _simpler(asked: Setting, usable: tuple[Covariate, ...]) -> Iterator[tuple[Setting, tuple[Covariate, ...]]]:
    """The setting and adjustments as asked for, then with ever fewer terms."""
    yield asked, usable
    if asked.primary is None or asked.reference is None:
        return
    pair = replace(asked, pair_only=True)
    yield pair, usable
    for many in range(len(usable) - 1, 0, -1):
        yield pair, usable[:many]


def _simplified(asked: Setting, simpler: Setting, usable, some, kind: str) -> Note:
    names = " and ".join(class_name(place) for place in (asked.primary, asked.reference))
    said = [f"holds {names} alone"] * (simpler.modelled != asked.modelled)
    said += [f"is adjusted only for {', '.join(one.name for one in some)}"] * (len(some) < len(usable))
    text = f"Too few yields for all classes and adjustments at once: the {KINDS[kind]} model {' and '.join(said)}."
    return Note(code="SMALL_N", text=text)


def _compared(
    asked: Setting, kind: str, usable: tuple[Covariate, ...], notes: tuple[Note, ...], exchanged: bool
) -> Compared:
    places, keep, thin = _still_large_enough(asked, _in_models(asked, usable))
    lost = {
        f"sessions without a recorded {one.name}": int(np.count_nonzero(_candidates(asked) & ~_known(asked, one)))
        for one in usable
    }
    if asked.reference not in places or len(places) < 2:
        return _nothing(kind, usable, lost, (*notes, *thin))
    found = _model(asked, kind, usable, keep, places, lost, (*notes, *thin))
    if not exchanged or found.crowded or asked.primary not in found.differences:
        return found
    return replace(found, permutation_p=_permutation_p(asked, keep, [one.columns[asked.rows.row] for one in usable]))


def _nothing(kind: str, usable, lost: dict[str, int], notes: tuple[Note, ...]) -> Compared:
    return Compared(
        kind=kind,
        differences={},
        sessions={},
        patients={},
        adjusted_for=tuple(one.name for one in usable),
        left_out=lost,
        notes=notes,
    )


def _candidates(asked: Setting) -> np.ndarray:
    """Rows with some yield, of classes that may enter a model and of no other."""
    outside = [place for place in range(len(COMPARED_CLASSES)) if place not in asked.modelled]
    return ~asked.rows.nothing & ~asked.member[:, outside].any(axis=1)


def _known(asked: Setting, one: Covariate) -> np.ndarray:
    return one.known[asked.rows.row]


def _usable(asked: Setting, each: Sequence[Covariate]) -> tuple[tuple[Covariate, ...], tuple[Note, ...]]:
    """Covariates known in at least half of the rows; the others are named."""
    here = _candidates(asked)
    if not here.any():
        return tuple(each), ()
    share = {one.name: float(_known(asked, one)[here].mean()) for one in each}
    blank = [name for name, known in share.items() if known < FEWEST_KNOWN]
    text = f"Not adjusted for {', '.join(blank)}: recorded before the session in fewer than half of the sessions."
    late = {one.name: one.later for one in each if one.later}
    after = ", ".join(f"{name} {counted(number, 'session', 'sessions')}" for name, number in late.items())
    said = {
        text: bool(blank),
        f"Recorded only after the session, so taken as not known: {after}.": bool(late),
    }
    notes = tuple(Note(code="MISSING", text=text) for text, is_so in said.items() if is_so)
    return tuple(one for one in each if one.name not in blank), notes


def _in_models(asked: Setting, usable: Sequence[Covariate]) -> np.ndarray:
    keep = _candidates(asked)
    for one in usable:
        keep &= _known(asked, one)
    return keep


def _still_large_enough(asked: Setting, keep: np.ndarray) -> tuple[list[int], np.ndarray, tuple[Note, ...]]:
    """The classes with enough rows left, and the rows of those alone."""
    places, lost = list(asked.modelled), []
    member, patient = asked.member, asked.rows.patient
    while True:
        thin = [
            place
            for place in places
            if (keep & member[:, place]).sum() < FEWEST_SESSIONS
            or np.unique(patient[keep & member[:, place]]).size < FEWEST_PATIENTS
        ]
        if not thin:
            break
        lost += thin
        places = [place for place in places if place not in thin]
        keep = keep & ~member[:, thin].any(axis=1)
    text = (
        f"Fewer than {FEWEST_SESSIONS} sessions or {FEWEST_PATIENTS} patients with every adjustment recorded, so not "
        f"in the adjusted models: {', '.join(map(class_name, lost))}."
    )
    return places, keep, (Note(code="SMALL_N", text=text),) if lost else ()


def _model(asked: Setting, kind: str, usable, keep: np.ndarray, places: list[int], lost, notes) -> Compared:
    rows, member = asked.rows.only(keep), asked.member[keep]
    low, high = rows.scale
    columns = [one.columns[rows.row] for one in usable]
    order = [place for place in places if place != asked.reference]
    shown = [*order, asked.reference] if asked.rule.credit == ANY_USE else order
    model = yield_model(
        Rows(
            low=low,
            high=high,
            classes=member[:, shown].astype(float),
            covariates=np.concatenate([*columns, np.empty((low.size, 0))], axis=1),
            patient=rows.patient,
            divided=np.unique(rows.row).size < rows.row.size,
        ),
        kind,
        asked.level,
    )
    apart = {place: why for place in order if (why := _apart(asked, kind, keep, place, usable))}
    found = {
        place: Difference() if place in apart else model.against(at, len(order) if len(shown) > len(order) else None)
        for at, place in enumerate(order)
    }
    return Compared(
        kind=kind,
        differences=found,
        sessions={place: int(member[:, place].sum()) for place in places},
        patients={place: np.unique(rows.patient[member[:, place]]).size for place in places},
        adjusted_for=tuple(one.name for one in usable),
        spread=model.spread,
        ranged=bool((low != high).any()),
        rows=low.size,
        crowded=model.crowded,
        all_patients=np.unique(rows.patient).size,
        left_out=lost,
        notes=(*notes, *model.notes, *(Note(code="NO_OVERLAP", text=text) for text in apart.values())),
    )


def _permutation_p(asked: Setting, keep: np.ndarray, columns: list[np.ndarray]) -> float:
    """Of the primary contrast, labels exchanged within patients; NaN where a rule divides sessions into rows."""
    one, other = (asked.member[keep][:, place] for place in (asked.primary, asked.reference))
    rows, pair = asked.rows.only(keep), one ^ other
    columns = [each[keep] for each in columns]
    if asked.rule.divides or not pair.any():
        return np.nan
    low, high = rows.scale
    given = np.concatenate([*columns, np.empty((low.size, 0))], axis=1)
    return exchanged_within(
        Rows(
            low=low[pair],
            high=high[pair],
            classes=one[pair][:, None].astype(float),
            covariates=given[pair],
            patient=rows.patient[pair],
        )
    ).p_value


def _apart(asked: Setting, kind: str, keep: np.ndarray, place: int, usable: Sequence[Covariate]) -> str:
    """Why a class cannot be compared with the reference by this kind of model; "" where it can."""
    one, other = (keep & asked.member[:, each] for each in (place, asked.reference))
    pair = f"{class_name(place)} and {class_name(asked.reference)}"
    if kind == POOLED:
        return ""
    if kind == WITHIN:
        patient = asked.rows.patient
        both = np.intersect1d(patient[one], patient[other]).size
        few = f"{counted(both, 'patient was', 'patients were')} treated with both {pair}"
        return f"Only {few}, fewer than {FEWEST_PATIENTS}: no comparison within patients." * (both < FEWEST_PATIENTS)
    for name in (each.name for each in usable if each.name in BANDED):
        level, _ = banded(asked.registry, asked.found, name)
        there = level[asked.rows.row]
        if not np.intersect1d(there[one], there[other]).size:
            return f"{pair.capitalize()} were never used at the same {name}: no adjusted comparison of the two."
    return ""
