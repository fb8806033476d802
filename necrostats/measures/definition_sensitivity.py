"""One figure under every definition of "resolved" that is in use."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from necrostats.definitions.resolution import RESOLUTION_CATALOGUE, ResolutionDefinition
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.grouping import counted, estimate_row, estimate_table
from necrostats.measures.needs import answerable, needing, of_any_resolution
from necrostats.measures.resolution import INTERVAL, sessions_to_resolution, time_to_resolution
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Estimates, Method, Note, Population

MEASURES = ("time", "sessions")
USUAL = {"time": 90, "sessions": 3}


@needing("Resolution under several definitions", of_any_resolution)
def sensitivity(
    registry: Registry,
    *,
    measure: str = "time",
    at: int | None = None,
    definitions: Sequence[ResolutionDefinition] = RESOLUTION_CATALOGUE,
    level: float = 0.95,
) -> Estimates:
    """Cumulative incidence of resolution by one day or session number, under each definition.

    `measure`: "time" or "sessions"; `at`: the day (90 if left out) or the session number (3). A definition whose
    horizon lies before that day has no figure there, and that is said. One row a definition, in their order:
    the same patients counted again, so that the rows are not independent and are not to be tested against each other.

    Counted: patients with an index drainage, the same under each definition.
    Source: of each definition, with what of it was read and what is from memory: `result.method.references`.
    """
    if measure not in MEASURES:
        raise unknown_choice("measure", measure, MEASURES)
    point = _point(measure, at)
    _check(definitions)
    asked, definitions = definitions, answerable(registry, definitions)
    curves = [_curve(registry, measure, point, each, level) for each in definitions]
    rows = [_row(curve, each, point) for curve, each in zip(curves, definitions, strict=True)]
    return Estimates(
        title=f"Resolution {_words(measure, point)} under {counted(len(rows), 'definition', 'definitions')}",
        frame=estimate_table(rows),
        population=_population(curves),
        method=Method(
            estimand=f"probability of being resolved {_words(measure, point)}, under each definition, its own other "
            "ends competing",
            estimator=curves[0].method.estimator,
            interval=INTERVAL,
            level=level,
            definition=" ".join(each.sentence() for each in definitions),
            references=tuple(_source(each) for each in definitions if each.reference),
        ),
        notes=(*_notes(definitions, measure, point, curves), *_unanswered(asked, definitions)),
    )


def _unanswered(asked: Sequence[ResolutionDefinition], answered: Sequence[ResolutionDefinition]) -> list[Note]:
    left = [each.name for each in asked if each not in answered]
    text = f"Not computed, for what is not recorded: {', '.join(left)}."
    return [Note(code="NOT_RECORDED", text=text)] if left else []


def _point(measure: str, at: int | None) -> int:
    point = USUAL[measure] if at is None else int(at)
    if point < (1 if measure == "time" else 0):
        raise ChoiceError(f"at is {at}: give a day from 1, or a number of sessions from 0.")
    return point


def _check(definitions: Sequence[ResolutionDefinition]) -> None:
    names = [each.name for each in definitions]
    if not names:
        raise ChoiceError("definitions is empty: give at least one ResolutionDefinition.")
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ChoiceError(f'Two definitions have one name: "{twice[0]}". Give each a name of its own.')


def _curve(registry: Registry, measure: str, point: int, definition: ResolutionDefinition, level: float) -> Curves:
    curve_of = (
        partial(time_to_resolution, days=(point,))
        if measure == "time"
        else partial(sessions_to_resolution, up_to=point)
    )
    return curve_of(registry, definition=definition, level=level)


def _row(curve: Curves, definition: ResolutionDefinition, point: int) -> dict:
    rows = curve.frame[curve.frame["cause"] == "resolved"]
    found = rows[rows[curve.axis] == point].iloc[0]
    events = int(rows.loc[rows[curve.axis] <= point, "events"].sum())
    return estimate_row(
        "cumulative incidence of resolution",
        definition.name,
        unit="share",
        of="patients",
        events=events,
        n=curve.population.patients,
        estimate=found["estimate"],
        low=found["low"],
        high=found["high"],
    )


def _population(curves: list[Curves]) -> Population:
    """Who is counted can differ by definition: the largest numbers, counted and left out."""
    left_out: dict[str, int] = {}
    for curve in curves:
        for reason, number in curve.population.left_out.items():
            left_out[reason] = max(number, left_out.get(reason, 0))
    return Population(patients=max(curve.population.patients for curve in curves), left_out=left_out)


def _source(definition: ResolutionDefinition) -> str:
    return f"{definition.reference} ({definition.name}: {definition.provenance})"


def _words(measure: str, point: int) -> str:
    sessions = counted(point, "necrosectomy", "necrosectomies")
    return f"by day {point} since index drainage" if measure == "time" else f"within {sessions}"


def _notes(
    definitions: Sequence[ResolutionDefinition], measure: str, point: int, curves: list[Curves]
) -> tuple[Note, ...]:
    same = Note(
        code="MULTIPLICITY",
        text="The same patients are counted under every definition: the rows are not independent, and overlapping "
        "intervals say nothing about whether two definitions differ.",
    )
    short = [each.name for each in definitions if measure == "time" and each.horizon_days < point]
    ended = Note(code="NOT_MATURED", text=f"The count ends before day {point} under: {', '.join(short)}.")
    return (same, *([ended] if short else []), *_of_single_definitions(definitions, curves))


def _of_single_definitions(definitions: Sequence[ResolutionDefinition], curves: list[Curves]) -> list[Note]:
    """What the record leaves open, said once: for all definitions, or with the names of those it concerns."""
    found: dict[Note, list[str]] = {}
    for definition, curve in zip(definitions, curves, strict=True):
        for note in curve.notes:
            if note.code in ("MISSING", "SMALL_N"):
                found.setdefault(note, []).append(definition.name)
    everywhere = len(definitions)
    return [
        note if len(names) == everywhere else Note(code=note.code, text=f"{note.text} (Under: {'; '.join(names)}.)")
        for note, names in found.items()
    ]
