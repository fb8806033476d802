"""Where classes of instrument meet: together in one necrosectomy, and at every session number, texture and volume."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.attribution import ONE_CLASS, AttributionRule, rule_named
from necrostats.errors import unknown_choice
from necrostats.measures.credited_yields import CLASSES, Debridements, debridements, known_unit
from necrostats.measures.grouping import Grouping, counted, summary_row, summary_table
from necrostats.measures.yield_contrasts import Setting, class_name, class_place, setting
from necrostats.measures.yield_models import BANDED, adjustment_names, banded
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Overlap, Population, Statements

NONE_RECORDED = "no class recorded"
COLUMNS = ("classes_used", "necrosectomies", "patients", "first_necrosectomies", "later_necrosectomies")


def instrument_combinations(registry: Registry, *, fewest: int = 3) -> Statements:
    """Necrosectomies and patients of each combination of classes, the most frequent first; adjuncts do not count.

    Combinations of several classes with fewer than `fewest` necrosectomies share one row at the end.

    Counted: necrosectomies with a recorded instrument, and their patients.
    Source: a count or description, common practice.
    """
    found = debridements(registry)
    table = _table(found, fewest)
    shared = int(np.count_nonzero(found.classes > 1))
    return Statements(
        title="Classes of instrument used together",
        frame=table,
        said=(_said(found.session.size, shared),),
        population=Population(patients=np.unique(found.patient).size, sessions=found.session.size),
        method=Method(
            estimand="necrosectomies with each combination of instrument classes",
            estimator="counts",
            interval="none: these are counts",
            level=0.95,
            definition="lavage and peroxide are adjuncts and not counted as a class",
        ),
    )


def _said(total: int, shared: int) -> str:
    if not total:
        return "There are no necrosectomies."
    share = f" ({100 * shared / total:.0f} %)" if shared else ""
    was = "was" if shared == 1 else "were"
    return f"{shared:,} of {counted(total, 'necrosectomy', 'necrosectomies')}{share} {was} shared by several classes."


def _table(found: Debridements, fewest: int) -> pd.DataFrame:
    kinds, place = np.unique(found.used, axis=0, return_inverse=True)
    place = place.reshape(-1)
    sizes, several = np.bincount(place, minlength=len(kinds)), kinds.sum(axis=1) > 1
    rare = several & (sizes < fewest)
    rows = [_row(found, _name(kinds[at]), place == at) for at in np.flatnonzero(~rare & (sizes > 0))]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    table = table.sort_values(["necrosectomies", "classes_used"], ascending=[False, True], ignore_index=True)
    if rare.any():
        name = counted(int(rare.sum()), "further combination", "further combinations")
        table.loc[len(table)] = _row(found, f"{name}, each in fewer than {fewest}", rare[place])
    return table.astype(dict.fromkeys(COLUMNS[1:], "int64"))


def _name(kind: np.ndarray) -> str:
    return " + ".join(CLASSES[at].replace("_", " ") for at in np.flatnonzero(kind)) or NONE_RECORDED


def _row(found: Debridements, name: str, here: np.ndarray) -> dict:
    first = int((found.number[here] == 1).sum())
    return {
        "classes_used": name,
        "necrosectomies": int(here.sum()),
        "patients": np.unique(found.patient[here]).size,
        "first_necrosectomies": first,
        "later_necrosectomies": int(here.sum()) - first,
    }


OVER = ("session number", "texture", "volume")
MAY_BE = (*BANDED, "calendar time")


def yield_overlap(
    registry: Registry,
    *,
    over: Sequence[str] = OVER,
    reference: str | None = None,
    unit: str | None = None,
    rule: AttributionRule | str = ONE_CLASS,
    level: float = 0.95,
) -> Overlap:
    """Sessions with a yield that counts, of each class at each level of what must be alike to compare them.

    A level at which a class and the reference do not both occur tells nothing of the two: those levels are named in
    a note (NO_OVERLAP). `over`: "session number", "texture", "volume", "solid fraction" or "calendar time".

    Counted: necrosectomies with a yield that counts, by class.
    Source: a count or description, common practice.
    """
    names = adjustment_names(over)
    for name in names:
        if name not in MAY_BE:
            raise unknown_choice("level to compare at", name, MAY_BE)
    found, rule = debridements(registry), rule_named(rule)
    place = class_place(reference)
    asked = setting(registry, found, rule, unit=known_unit(unit, found), per="session", level=level, reference=place)
    used = [each for each in range(len(COMPARED_CLASSES)) if asked.member[:, each].any()]
    groups = Grouping(labels=tuple(COMPARED_CLASSES[each] for each in used), codes=np.zeros(0, dtype=np.int64))
    return Overlap(
        title="Where classes of instrument can be compared",
        frame=summary_table([row for name in names for row in _rows(asked, name, used)], groups),
        population=Population(
            patients=np.unique(asked.rows.patient).size,
            sessions=np.unique(asked.rows.row).size,
            left_out=asked.rows.left_out,
        ),
        method=Method(
            estimand=f"sessions with a yield that counts, by class of instrument and {', '.join(names)}",
            estimator="counts",
            interval="none: these are counts",
            level=level,
            definition=f"rule for shared sessions: {asked.rule.sentence}",
        ),
        notes=tuple(_apart(asked, names, used)),
    )


def _levels(asked: Setting, name: str) -> tuple[np.ndarray, tuple[str, ...]]:
    codes, labels = banded(asked.registry, asked.found, name)
    return codes[asked.rows.row], labels


def _rows(asked: Setting, name: str, used: Sequence[int]) -> Iterator[dict]:
    """A row for each level and class; the level "not recorded" only where there is one."""
    codes, labels = _levels(asked, name)
    levels = [*enumerate(labels), *([(-1, "not recorded")] if (codes < 0).any() else [])]
    for code, label in levels:
        for at, place in enumerate(used):
            here = asked.member[:, place]
            cell = here & (codes == code)
            yield summary_row(
                name,
                at,
                "count",
                n=int(here.sum()),
                missing=int((here & (codes < 0)).sum()),
                level=label,
                events=int(cell.sum()),
                patients=np.unique(asked.rows.patient[cell]).size,
            )


def _apart(asked: Setting, names: Sequence[str], used: Sequence[int]) -> Iterator[Note]:
    """For each class against the reference, where the two never meet."""
    if asked.reference is None:
        return
    for place in used:
        if place == asked.reference:
            continue
        said = [text for name in names if (text := _never(asked, name, place))]
        if said:
            pair = f"{class_name(place)} and {class_name(asked.reference)}"
            yield Note(code="NO_OVERLAP", text=f"{pair.capitalize()} cannot be compared at {'; '.join(said)}.")


def _never(asked: Setting, name: str, place: int) -> str:
    """The levels at which one of the two was used and the other never."""
    codes, labels = _levels(asked, name)
    one, other = (np.isin(np.arange(len(labels)), codes[asked.member[:, each]]) for each in (place, asked.reference))
    if not (one.any() or other.any()):
        return ""
    apart = [label for at, label in enumerate(labels) if one[at] != other[at]]
    if not (one & other).any():
        return f"any {name}"
    return f"{name} {', '.join(apart)}" if apart else ""
