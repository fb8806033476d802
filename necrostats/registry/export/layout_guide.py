"""Every key and every target of a layout, with an example each: what `necrostats layout-guide` prints."""

from __future__ import annotations

from collections.abc import Iterator

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.export.layout import EVENT_TARGETS, INSIDE, SPECIAL, WHOLE, plain_columns

Key = tuple[str, str, str]
TOP: tuple[Key, ...] = (
    ("format", "the version of this form, always first", "format = 1"),
    (
        "language",
        "a language, or several, whose words for codes count: en, da, de, es, fr, it, nl, no, pl, pt, sv",
        'language = "de"',
    ),
    (
        "ignore_sheets",
        "sheets that are not read: identity in them is told, and stops nothing",
        'ignore_sheets = ["Legend", "Pivot*"]',
    ),
    (
        "none_happened",
        "tables that the export lacks because nothing of the kind happened; else they count as not recorded",
        'none_happened = ["other_interventions"]',
    ),
    ("accept", "places that a person has looked at and found nobody named in", 'accept = ["DEN!Remarks"]'),
)
SECTIONS: dict[str, tuple[Key, ...]] = {
    "dates": (
        (
            "order",
            "whether the day or the month comes first in 03/04/24; without it such dates are set aside",
            'order = "day_first"',
        ),
        ("data_lock", "the last day that the export covers", "data_lock = 2026-09-30"),
        ("earliest", "dates before it are asked about", "earliest = 2015-01-01"),
        ("system", "1900 or 1904, for serial numbers such as 45363 in csv files", 'system = "1900"'),
        (
            "periods",
            "quarters, or sequential: P01, P02 … with their key in a file of its own",
            'periods = "sequential"',
        ),
    ),
    "numbers": (
        ("decimal", "the decimal sign; without it 1.200 and 1,200 are set aside", 'decimal = ","'),
        ("groups", "whether blanks part thousands, as in 12 000", 'groups = "blanks"'),
    ),
    "ids": (
        ("patients", "generate gives new study codes; keep takes those of the export", 'patients = "keep"'),
        ("form", "the form of a code: 7, 007 and P7 are then the same patient", 'form = "P000"'),
        (
            "ignore",
            "in what two writings of one code may differ",
            'ignore = ["hyphens", "blanks", "zeros", "decimals"]',
        ),
    ),
    "collections": (
        ("index", "first: of several collections the first named is the one drained on day 0", 'index = "first"'),
        ("unnamed", "what is meant where a patient has several and none is named: index, or all", 'unnamed = "index"'),
    ),
    "fill": (
        ('"table.column"', "what counts where no cell is filled", '"patients.vital_status" = "alive"'),
        ('"patients.last_contact_day"', "also last_record or data_lock", '"patients.last_contact_day" = "last_record"'),
    ),
    "synonyms.COLUMN": (
        (
            '"word"',
            'a word of the unit = a code of the registry, or "" for no answer; yes_no for all yes/no columns',
            '"rat tooth" = "forceps"',
        ),
    ),
    "words": tuple(
        (name, meaning, f'{name} = ["…"]')
        for name, meaning in {
            "unknown": "cells that say nothing, in any column",
            "no_event": "cells that say that somebody looked and nothing happened",
            "elsewhere": "cells that point to another cell",
            "text_kept": "cells that send the reader to a document",
            "negation": "words for no, before an event",
            "perhaps": "words of doubt",
            "about": "words before an estimate",
            "above": "words before a lower limit",
            "below": "words before an upper limit",
            "to": "words within a range: 200 to 300",
            "between": "words before a range",
            "and": "words within a range that begins with between",
            "then": "words between instruments that followed each other",
            "with": "words between instruments used together",
            "out": "words for what came out",
            "in": "words for what was put in",
        }.items()
    ),
    "[sheet]": (
        (
            "name",
            "the sheet, or csv file; several of one form as a list; * and ? stand for any signs",
            'name = ["2024", "2025"]',
        ),
        ("header_rows", "the rows with the headings; two rows are joined by a blank", "header_rows = [2, 3]"),
        ("starts", "the headings are in the row that begins so, wherever it is", 'starts = "No"'),
        ("ends", "rows from the one that begins so on are not meant", 'ends = ["Controls", "Total"]'),
        ("labels", "the sheet is a form: the column with its labels", 'labels = "A"'),
        ("values", "the column with the value beside each label", 'values = "B"'),
        ("label_rows", "the rows of the form; without it, all of the sheet", 'label_rows = "3-14"'),
        ("patient", "the column with the study code; {sheet} where each patient has a sheet", 'patient = "Study no"'),
        ("session", "instead of patient: the column that names a session of another sheet", 'session = "Session ID"'),
        ("each_row_is_a_patient", "instead of patient, where nothing says who", "each_row_is_a_patient = true"),
        ("carry_down", "columns in which a blank cell takes the one above", 'carry_down = ["Study no"]'),
        ("ignore", "columns that are not read: identity in them is told, and stops nothing", 'ignore = ["Remarks"]'),
        (
            "skip_rows",
            "rows that are no record: their numbers, or what their first cell says",
            'skip_rows = ["Total", "Mean*"]',
        ),
        (
            "where",
            "only the rows whose cells say so (* stands for any signs); a log has a [[sheet]] for each kind of row",
            'where = { "What" = ["CT", "MR*"] }',
        ),
        ("skip_where", "rows that are no record, by what a column says", 'skip_where = { "What" = "phone call" }'),
    ),
    "[sheet.rows]": (
        ("table", "the table that a row makes: " + ", ".join(TABLES), 'table = "sessions"'),
        ("numbers", "the numbers that {n} in the headings stands for", 'numbers = "1-7"'),
        ("constants", "values that all these rows have", 'constants = { session_type = "necrosectomy" }'),
        (
            "index",
            "true: the date of these sessions is day 0; first_drainage: that of the first drainage is",
            "index = true",
        ),
        (
            "same_day",
            "merge: a necrosectomy on day 0 becomes one with the index drainage; else separate",
            'same_day = "merge"',
        ),
        (
            "ends_stents",
            "a row of stents ends those that are in by then: all, those of the type or size it names, or its stent_id",
            "ends_stents = true",
        ),
        (
            "by_day",
            "an event that names no session is of the patient's one session on that day",
            "by_day = true",
        ),
        (
            "columns",
            '"heading" = "target", or = { to = "target", … } with the options below; a list of them, each with codes, '
            "where a cell holds several things",
            '"Fever, diet" = ["fever", { to = "oral_diet", codes = { "eating" = "yes" } }]',
        ),
        (
            "as_headed",
            "headings that say by themselves what they become: each the whole of a phrase listed for one target only",
            'as_headed = ["Age", "Sex", "ASA", "Size (cm)"]',
        ),
    ),
    "sheet.rows.overflow": (
        ("column", "the column with all further sessions", 'column = "DEN8+"'),
        ("between", "what stands between two sessions", 'between = ";"'),
        ("parts", "the parts of a session, by the headings of the group", 'parts = ["DEN{n} date", "DEN{n} yield"]'),
        ("between_parts", "what stands between the parts; a blank where only blanks do", 'between_parts = "|"'),
    ),
}
OPTIONS: tuple[Key, ...] = (
    ("to", "the target", '{ to = "yield" }'),
    ("unit", "the unit of a bare number", '{ to = "size", unit = "cm" }'),
    ("ml_only", "the unit of the layout counts, whatever is written", '{ to = "yield", unit = "ml", ml_only = true }'),
    ("decimal", "the decimal sign of this column", '{ to = "yield", decimal = "," }'),
    ("order", "the order of day and month of this column", '{ to = "day", order = "month_first" }'),
    ("system", "the system of its serial numbers", '{ to = "day", system = "1904" }'),
    ("days", "the cells hold days from the index drainage, not dates", '{ to = "day", days = true }'),
    ("codes", "words of this column alone", '{ to = "sex", codes = { "1" = "male", "2" = "female" } }'),
    ("pseudonyms", "names are replaced by operator A, operator B …", '{ to = "operator", pseudonyms = true }'),
    ("session", "false: an index date makes no session of its own", '{ to = "index_date", session = false }'),
)
SPECIAL_TARGETS = {
    "index_date": ("the date of the index drainage: day 0", "12/03/2024"),
    "size": ("one to three axes of a collection", "12 x 10 x 8 cm"),
    "collections": ("the patient's collections, a row each", "WON x2 (lesser sac + L paracolic)"),
    "collection": (
        "in collections, what the export calls it; elsewhere the collection meant: that name, its site or its number",
        "K2",
    ),
    "yield": ("an amount, a range, a limit, or a word", "~250 cc; 200-300; >500; 1.2 L out (1 L in); minimal"),
    "instruments": ("instruments in order, a use each", "snare + net, then H2O2"),
    "event": ("one adverse event, or that there was none", "bled, stopped; no bleeding"),
    **{
        target: (f"{target.removeprefix('event.')} of the event in the same row", "IIIa, radiological, 2 …")
        for target in EVENT_TARGETS
    },
    "stents": ("stents placed in this session, a row each", "LAMS 15 + coaxial DPT 7Fr"),
    "stent": ("stents of this row, which share its dates, a row each", "2 x DPT 7Fr"),
    "stent_size": ("a size in mm or in Fr", "15 mm; 7 Fr"),
    "stent_id": ("in stents, what the export calls it; elsewhere the stent meant", "ST002-1"),
    "end": ("why a stent ended, and when", "migrated 23/10/24; in situ"),
    "session": ("the session's own id; elsewhere, the session meant: its id or number", "DEN 3"),
}


def layout_guide() -> str:
    """The whole reference, as text."""
    return "\n".join(_lines()).rstrip() + "\n"


def _lines() -> Iterator[str]:
    yield "A layout is a TOML file: texts in quotation marks, lists in [ ], tables in [name]."
    yield "Headings, sheets and words are compared with case, accents and blanks forgiven."
    yield from _section("At the top", TOP)
    for name, keys in SECTIONS.items():
        yield from _section(f"[{name}]", keys)
    yield from _section("Options of a column", OPTIONS)
    for name in TABLES:
        yield from _targets(name)


def _section(title: str, keys: tuple[Key, ...]) -> Iterator[str]:
    yield f"\n{title}"
    for name, meaning, example in keys:
        yield f"  {name:<24} {meaning}"
        yield f"  {'':<24}   {example}"


def _targets(table: str) -> Iterator[str]:
    yield f'\nTargets where table = "{table}"'
    for name in SPECIAL[table]:
        meaning, example = SPECIAL_TARGETS[name]
        yield f"  {name:<24} {meaning}: {example}"
    for name in plain_columns(table):
        yield f"  {name:<24} {_column(TABLES[table].column(name))}"


def _column(column: Column) -> str:
    scale = ", ".join(column.codes) or {"yes_no": "yes, no", "day": "a date, or days"}.get(column.kind, column.unit)
    return f"{column.meaning}{f' ({scale})' if scale else ''}"


def documented() -> frozenset[str]:
    """The names of all keys, to be compared with those that are read."""
    every = (*TOP, *OPTIONS, *(key for keys in SECTIONS.values() for key in keys))
    return frozenset(name for name, _, _ in every) | {*WHOLE, *INSIDE}
