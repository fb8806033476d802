"""What a column of an export can become: a column of the codebook, or one of the few that fill several."""

from __future__ import annotations

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.columns import LATEST

OF_THE_EVENT = "event."
"""Before a column of adverse_events: of the event that another cell of the same session names."""
EVENT_TARGETS = tuple(
    OF_THE_EVENT + name
    for name in (
        "phase",
        "agree_grade",
        "asge_severity",
        "clavien_grade",
        "attribution",
        "treatment",
        "extra_nights",
        "icu_nights",
    )
)
SPECIAL: dict[str, tuple[str, ...]] = {
    "patients": ("index_date",),
    "collections": ("size", "collections"),
    "sessions": ("yield", "instruments", "event", *EVENT_TARGETS, "stents", "collection", "session"),
    "instrument_uses": ("yield", "session"),
    "stents": ("stent", "stent_size", "end", "collection"),
    "scans": ("size", "collection"),
    "reviews": (),
    "adverse_events": ("session",),
    "other_interventions": (),
}
OVERFLOW = "overflow"
GRAMMAR_UNITS = {"ml": "ml", "mm": "mm", "minutes": "min", "Fr": "Fr", "%": "percent", "g": "g"}
BORES = {"diameter_mm": "bore", "stent_size": "bore"}
ENDS = ("removed_day", "end_reason")
YIELD_FILLS = (
    "yield_low",
    "yield_high",
    "yield_unit",
    "yield_approximate",
    "yield_words",
    "yield_as_written",
    "yield_includes_lavage",
    "lavage_in_ml",
)
FILLS = {
    "yield": YIELD_FILLS,
    "size": ("long_mm", "mid_mm", "short_mm"),
    "event": ("events_checked",),
    **dict.fromkeys(EVENT_TARGETS, ()),
    "collections": ("site",),
    "collection": ("collection_id", "also_treated"),
    "session": ("session_id",),
    "instruments": (),
    "stents": (),
    "stent": ("stent_type", "diameter_mm", "caliber_fr"),
    "stent_size": ("diameter_mm", "caliber_fr"),
    "index_date": (),
    OVERFLOW: (),
}


def home(table: str, target: str) -> tuple[str, str]:
    """The table and column that a target fills by itself: "event.treatment" is that of adverse_events."""
    if target.startswith(OF_THE_EVENT):
        return "adverse_events", target.removeprefix(OF_THE_EVENT)
    return table, target


def plain_columns(table: str) -> tuple[str, ...]:
    """The columns of a table that one column of an export can fill by itself."""
    return tuple(
        column.name
        for column in TABLES[table].all_columns
        if column.kind not in ("id", "ids") and not column.name.endswith(LATEST)
    )


def targets(table: str) -> tuple[str, ...]:
    """Everything that a column of an export can become in a table."""
    return (*SPECIAL[table], *plain_columns(table))


def is_date(table: str, target: str) -> bool:
    """Whether the cells of a target are dates."""
    return target == "index_date" or (target in plain_columns(table) and TABLES[table].column(target).kind == "day")


def fills(table: str, target: str) -> tuple[str, ...]:
    """The columns of the codebook, in the same table, that a target fills."""
    wanted = FILLS.get(target) or (() if target in FILLS else (target,))
    names = {column.name for column in TABLES[table].all_columns}
    return tuple(name for name in wanted if name in names)


def code_column(name: str) -> Column | None:
    """The first column of the codebook of that name that holds codes; None if there is none."""
    found = (column for table in TABLES.values() for column in table.all_columns)
    return next((column for column in found if column.name == name and column.kind == "code"), None)
