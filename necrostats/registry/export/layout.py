"""How one unit's export maps to the codebook: what a layout says, once it has been read and found sound."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.columns import LATEST
from necrostats.registry.export.cells import RawCell, Reading
from necrostats.registry.text import folded, without_accents

WHOLE = {"unknown": "n/a", "no_event": "nil", "elsewhere": "as before", "text_kept": "see report"}
INSIDE = {
    "negation": "no",
    "perhaps": "possible",
    "about": "~",
    "above": ">",
    "below": "<",
    "to": "to",
    "between": "between",
    "and": "and",
    "then": "then",
    "with": "with",
    "out": "out",
    "in": "in",
}


EVENTS = ("event", "event_type")
_OF_EVENTS = (INSIDE["negation"], INSIDE["perhaps"])


@dataclass(frozen=True, kw_only=True)
class OwnWords:
    """`whole`: folded cell → what it stands for; `inside`: folded word or phrase → what it stands for.

    What says that no event happened, negates one or puts it in doubt does so of events only: "nee" is no there, and
    the answer to a question elsewhere.
    """

    whole: Mapping[str, str] = field(default_factory=dict)
    inside: Mapping[str, str] = field(default_factory=dict)

    def of_column(self, to: str) -> OwnWords:
        """The words that count in a column that becomes a target."""
        if to in EVENTS:
            return self
        return OwnWords(
            whole={word: plain for word, plain in self.whole.items() if plain != WHOLE["no_event"]},
            inside={word: plain for word, plain in self.inside.items() if plain not in _OF_EVENTS},
        )

    @classmethod
    def of(cls, lists: Mapping[str, tuple[str, ...]]) -> OwnWords:
        """From the lists of a layout: the name of a list → its words."""
        spread = {folded(word): name for name, words in lists.items() for word in words}
        return cls(
            whole={word: WHOLE[name] for word, name in spread.items() if name in WHOLE},
            inside={word: INSIDE[name] for word, name in spread.items() if name in INSIDE},
        )

    def plain(self, cell: RawCell, *, dated: bool = False) -> RawCell:
        """The cell in plain words; of a date, only what stands for the whole of it."""
        if cell.value is not None or not (self.whole or self.inside):
            return cell
        key = folded(cell.text)
        if key in self.whole:
            return cell._replace(text=self.whole[key])
        if dated or not self.inside:
            return cell
        bare = without_accents(cell.text)
        text = self._pattern.sub(lambda found: self.inside[folded(found[0])], bare)
        return cell._replace(text=text) if text != bare else cell

    @property
    def _pattern(self) -> re.Pattern[str]:
        longest_first = sorted(self.inside, key=len, reverse=True)
        return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest_first))})(?!\w)", re.IGNORECASE)


def as_written(reading: Reading, cell: RawCell) -> Reading:
    """The reading with the cell itself where the text of it is kept."""
    if "yield_as_written" not in reading.fills:
        return reading
    return replace(reading, fills={**reading.fills, "yield_as_written": cell.text.strip()})


NOT_UNDERSTOOD, BY_ID = "?", "="  # a reference to a collection that nothing explains; before what the export calls one
NUMBER = "{n}"
SHEET = "{sheet}"
ALTERNATIVE = " | "
HEADING_OF_A_FORM, VALUES_OF_A_FORM = 0, 1  # the rows that a form is turned into
NO_WORDS = OwnWords()
Words = Mapping[str, str]
Where = tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, kw_only=True)
class ColumnLayout:
    """One column of an export: its heading as the layout writes it, what it becomes and how it is read.

    `grouped`: blanks part the thousands of its numbers. `of_end`: its cells hold an end, of which it reads a part.
    `codes` are folded words → codes, the layout's synonyms among them. Blank or None: as the codebook has it.
    `own_codes`: those that the column itself lists.
    `sharing`: all the columns that read the same cells, this one among them, each a part of them. `own_ids`: what the
    export calls its collections. `unit_beside`: another column gives the unit.
    """

    heading: str
    to: str
    unit: str = ""
    ml_only: bool = False
    decimal: str = ""
    day_first: bool | None = None
    system: str = ""
    codes: Words = field(default_factory=dict)
    own_codes: Words = field(default_factory=dict)
    days: bool = False
    pseudonyms: bool = False
    session: bool = True
    grouped: bool = False
    of_end: bool = False
    words: OwnWords = NO_WORDS
    sharing: tuple[ColumnLayout, ...] = ()
    own_ids: frozenset[str] = frozenset()
    unit_beside: bool = False

    def numbered(self, number: int) -> ColumnLayout:
        """The same column with its number in place of {n}."""
        return replace(self, heading=self.heading.replace(NUMBER, str(number)))


@dataclass(frozen=True, kw_only=True)
class Overflow:
    """The column that holds the sessions beyond the numbered ones, several in one cell."""

    column: str
    between: str
    parts: tuple[str, ...]
    between_parts: str


@dataclass(frozen=True, kw_only=True)
class RowsLayout:
    """What each row of a sheet makes, in one table; with `numbers`, one row for each of them.

    `index`: "" no, "row" these rows are the index drainage, "first_drainage" the earliest drainage among them is.
    `ends_stents`: a row is no stent but the end of those that are in by then; `by_day`: an event that names no session
    is of the one session of its day.
    """

    table: str
    columns: tuple[ColumnLayout, ...]
    numbers: tuple[int, ...] = ()
    constants: Words = field(default_factory=dict)
    index: str = ""
    merge_same_day: bool = False
    ends_stents: bool = False
    by_day: bool = False
    overflow: Overflow | None = None

    def each_number(self) -> Iterator[tuple[int | None, tuple[ColumnLayout, ...]]]:
        """The columns of each number in turn, or of the one unnumbered group (None)."""
        if not self.numbers:
            yield None, self.columns
        for number in self.numbers:
            yield number, tuple(column.numbered(number) for column in self.columns)

    def holds(self, target: str) -> bool:
        """Whether a column becomes this target."""
        return bool(self.heading_of(target))

    def heading_of(self, target: str) -> str:
        """The heading, as the layout writes it, of the column that becomes a target; blank if none does."""
        return next((column.heading for column in self.columns if column.to == target), "")


@dataclass(frozen=True, kw_only=True)
class SheetLayout:
    """One sheet, or several of one form: where its headings are, who its rows are about, what they make.

    `patient` may be "{sheet}", the name of the sheet. Rows whose first cell is one of `skip_texts` are no record.
    `session`: the column that names a session of another sheet, and through it the patient.
    `labels` and `values` (letters of columns): the sheet is a form with a label beside each value, in `label_rows` or
    in every row, and makes one row. `starts`: what the first cell of its headings says, where they stand in another row
    on each sheet; `ends`: what the first cell of the first row says that is no longer meant. A heading may be several,
    "Age | Age (years)", of which a sheet has one; one that another sheet of the form has may lack. `where`: only the
    rows that say so are meant; `skip_where`: those are no record.
    """

    names: tuple[str, ...]
    header_rows: tuple[int, ...] = (1,)
    starts: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    labels: str = ""
    values: str = ""
    label_rows: tuple[int, ...] = ()
    patient: tuple[str, ...] = ()
    session: str = ""
    each_row_is_a_patient: bool = False
    carry_down: tuple[str, ...] = ()
    ignore: tuple[str, ...] = ()
    skip_rows: tuple[int, ...] = ()
    skip_texts: tuple[str, ...] = ()
    where: Where = ()
    skip_where: Where = ()
    rows: tuple[RowsLayout, ...] = ()

    @property
    def is_a_part(self) -> bool:
        """Whether it means a part of a sheet: a form, or a block."""
        return bool(self.labels or self.starts or self.ends)

    @property
    def keys(self) -> tuple[str, ...]:
        """The headings of the columns that say who a row is about."""
        named = (*self.patient, *((self.session,) if self.session else ()))
        return tuple(heading for heading in named if heading != SHEET)

    @property
    def telling(self) -> tuple[str, ...]:
        """The headings of the columns that say what kind of row it is."""
        return tuple(dict.fromkeys(heading for heading, _ in (*self.where, *self.skip_where)))

    def one_of_each(self) -> Iterator[tuple[str, ...]]:
        """The headings of each numbered column: a sheet need not have all of them, but one."""
        for rows in self.rows:
            for column in rows.columns if len(rows.numbers) > 1 else ():
                if "{n}" in column.heading:
                    yield tuple(column.numbered(number).heading for number in rows.numbers)

    def headings(self) -> Iterator[str]:
        """Every heading that the sheet must have."""
        yield from self.keys
        yield from self.telling
        for rows in self.rows:
            for _, columns in rows.each_number():
                yield from (column.heading for column in columns)
            if rows.overflow:
                yield rows.overflow.column


@dataclass(frozen=True, kw_only=True)
class Layout:
    """A whole layout. `fill`: (table, column) → what counts where no cell was written.

    `inert`: (place, what to say) of its lines that do nothing. `accept` names columns and places that a person has
    looked at, `none_happened` tables that the export lacks because
    nothing of the kind happened.
    `id_habits` name what does not matter in an id: "decimals", "blanks", "hyphens", "zeros".
    """

    sheets: tuple[SheetLayout, ...]
    ignore_sheets: tuple[str, ...] = ()
    accept: tuple[str, ...] = ()
    none_happened: tuple[str, ...] = ()
    data_lock: date | None = None
    earliest: date | None = None
    sequential: bool = False
    keep_ids: bool = False
    id_form: str = ""
    id_habits: tuple[str, ...] = ()
    index_named: bool = False
    unnamed: str = ""
    fill: Mapping[tuple[str, str], str] = field(default_factory=dict)
    inert: tuple[tuple[str, str], ...] = ()
    sha256: str = ""
    name: str = "layout"

    @property
    def vouched(self) -> frozenset[str]:
        """The names of sheets that the layout writes out, folded: somebody has looked at each."""
        named = {*self.ignore_sheets, *(name for sheet in self.sheets for name in sheet.names)}
        return frozenset(folded(name) for name in named if not {"*", "?"} & set(name))

    def makers(self) -> Iterator[tuple[SheetLayout, RowsLayout]]:
        """Every group of made rows with its sheet, in order."""
        for sheet in self.sheets:
            for rows in sheet.rows:
                yield sheet, rows


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
    "collections": ("size", "collections", "collection"),
    "sessions": ("yield", "instruments", "event", *EVENT_TARGETS, "stents", "collection", "session"),
    "instrument_uses": ("yield", "session"),
    "stents": ("stent", "stent_size", "end", "collection", "stent_id"),
    "scans": ("size", "collection"),
    "reviews": (),
    "adverse_events": ("session", "stent_id"),
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
    "stent": ("stent_type", "diameter_mm", "caliber_fr", "coaxial"),
    "stent_id": ("stent_id",),
    "stent_size": ("diameter_mm", "caliber_fr"),
    "index_date": (),
    OVERFLOW: (),
}


def home(table: str, target: str) -> tuple[str, str]:
    """The table and column that a target fills by itself: "event.treatment" is that of adverse_events."""
    if target.startswith(OF_THE_EVENT):
        return "adverse_events", target.removeprefix(OF_THE_EVENT)
    return table, target


def shares_a_cell(table: str, target: str) -> bool:
    """Whether a target can read its part of a cell that holds several things: it has codes, or yes and no."""
    table, target = home(table, target)
    return target in plain_columns(table) and TABLES[table].column(target).kind in ("code", "yes_no")


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
