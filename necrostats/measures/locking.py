"""What a lock holds beside the tables: the definitions and the figures of the day."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

from necrostats.definitions.adverse_events import THIRTY_DAYS
from necrostats.definitions.indicators import INDICATORS, LATE_ENOUGH, Indicator
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.measures.indicators import LONGEST_IN, MANY_SESSIONS, counted, needed
from necrostats.registry.loading import read_registry
from necrostats.registry.lock import Figures, Lock, read_lock, refuse_used, write_lock
from necrostats.registry.reading import quietly
from necrostats.registry.tables import Registry


def lock_registry(
    source: str | Path,
    to: str | Path,
    *,
    layout: str | Path | None = None,
    accepted: Sequence[str] = (),
    say: Callable[[str], None] = quietly,
) -> Lock:
    """Freeze the registry in a source, its definitions and its figures in a new folder, for the next review.

    Raises as `read_registry` does, and NecrostatsError for a folder that holds anything; nothing is written then.
    """
    refuse_used(to)
    say("reading")
    registry = read_registry(source, layout=layout, accepted=accepted)
    if rows := int((registry.set_aside["scope"] == "row").sum()):
        held = "row is" if rows == 1 else "rows are"
        say(f"{rows:,} {held} set aside and not in the lock: necrostats check lists why")
    say("writing")
    write_lock(registry, to, definitions=definitions_today(), figures=figures_of(registry), say=say)
    return read_lock(to)


def definitions_today() -> dict[str, object]:
    """Every threshold behind an indicator, by its name: plain values, as a manifest holds them."""
    return {
        "resolution": asdict(DOCUMENTED_RESOLUTION),
        "horizon in days": DOCUMENTED_RESOLUTION.horizon_days,
        "event window": asdict(THIRTY_DAYS),
        "days a lumen-apposing stent may be in": LONGEST_IN,
        "days from onset to a late drainage": LATE_ENOUGH,
        "necrosectomies above which they are many": MANY_SESSIONS,
        "indicators": {each.name: _listed(asdict(each)) for each in INDICATORS},
    }


def _listed(values: Mapping[str, object]) -> dict[str, object]:
    return {name: list(each) if isinstance(each, tuple) else each for name, each in values.items()}


def answerable(registry: Registry) -> list[Indicator]:
    """The indicators for which everything is recorded."""
    return [each for each in INDICATORS if all(need.met(registry) for need in needed(each))]


def figures_of(registry: Registry) -> Figures:
    """Events and denominator of every indicator that is recorded, in each quarter."""
    return {each.name: _by_quarter(registry, each) for each in answerable(registry)}


def _by_quarter(registry: Registry, indicator: Indicator) -> dict[str, tuple[int, int]]:
    found = counted(registry, indicator)
    return dict(zip(registry.periods, zip(found.events.tolist(), found.n.tolist(), strict=True), strict=True))
