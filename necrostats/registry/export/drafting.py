"""From made tables to a Draft, read by the same rules as a tidy registry, and findings told in places of the export."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.drafts import Draft, Flag, Taken, applied
from necrostats.registry.export.cells import DATE, PRIVATE, RawColumn
from necrostats.registry.export.layout import OVERFLOW, Layout, fills
from necrostats.registry.export.layout_keys import DATA_LOCK, LAST_RECORD
from necrostats.registry.export.linking import ID_FORMS, Index
from necrostats.registry.export.mapped_sheets import LaidSheet
from necrostats.registry.export.private import WITHHELD
from necrostats.registry.export.private import shown as shown_text
from necrostats.registry.export.table_drafts import NOWHERE, Made, Making, Mark, Origin, Texts
from necrostats.registry.findings import FOLLOWS, findings_frame, no_findings
from necrostats.registry.privacy.dates import may_be_a_birth
from necrostats.registry.reading import RawSource
from necrostats.registry.source_table import Place, RawTable, Written, objects, shaped
from necrostats.registry.text import defused

MADE = "made from the export"
BEFORE_DAY_0 = "lies before the index drainage"
AS_WRITTEN = "the cell as written"
_FREE = ("text", "id", "ids")
_MAKES = {"index_date": "sessions", "instruments": "instrument_uses", "event": "adverse_events", "stents": "stents"}


def raw_source(making: Making, layout: Layout, name: str, sha256: str) -> RawSource:
    """The made tables as if somebody had written them; row r of a made table is row r + 1."""
    made_at_all = {*(rows.table for _, rows in layout.makers()), "collections", "patients", *layout.none_happened}
    for _, rows in layout.makers():
        made_at_all |= {table for target, table in _MAKES.items() if rows.holds(target)}
    tables = {table: _raw(making.tables[table]) for table in TABLES if table in made_at_all}
    return RawSource(name=name, sha256=sha256, tables=tables)


def _raw(made: Made) -> RawTable:
    """Texts that would lose an apostrophe when the tidy form is read get one more."""
    needed = _written_for(made)
    columns = {
        column.name: _written(made.text(column.name), free=_is_free(made, column))
        for column in made.table.all_columns
        if column.name in made.texts or column.name in needed
    }
    return RawTable(
        place=Place(table=made.table.name, file=MADE),
        rows=np.arange(1, len(made) + 1),
        columns=columns,
    )


def _written_for(made: Made) -> set[str]:
    """Columns that the layout gives a table, filled or not."""
    own = {name for target in made.origins for name in fills(made.table.name, target)}
    if made.table.name in _MAKES.values() and not len(made):
        own |= {column.name for column in made.table.required_columns}
    return own


def _is_free(made: Made, column: Column) -> bool:
    """Whether the texts of a column are an export's own; the reader makes most ids itself."""
    return column.kind in _FREE and not (column.kind == "id" and (column.refers_to or made.table.name) in ID_FORMS)


def _written(texts: Texts, *, free: bool) -> Written:
    if free and any(defused(shape) != shape for shape in shaped(texts.different).shapes):
        safe = np.array([defused(text) for text in texts.different], dtype=object)
        return Written(texts=safe, which=texts.which)
    return Written(texts=texts.different, which=texts.which)


def marked(draft: Draft, making: Making) -> tuple[Draft, list[tuple[str, Mark]]]:
    """The draft after every mark, and the marks, each with its table, in the order of the findings they made."""
    said: list[tuple[str, Mark]] = []
    for name, made in making.tables.items():
        for mark in made.marks if draft[name].given else ():
            if len(mark.at):
                draft = _applied(draft, name, mark)
                said.append((name, mark))
    return draft, said


def _applied(draft: Draft, table: str, mark: Mark) -> Draft:
    column, takes = mark.column, mark.takes
    if takes == "cell" and _needs_row(table, mark.column):
        takes = "row"
    known = {each.name for each in TABLES[table].all_columns}
    flag = Flag(
        rule=mark.rule,
        table=table,
        at=mark.at,
        severity=mark.severity,
        column=column if column in known else "",
        takes=takes if column in known or takes == "row" else "",
        problem=mark.problem,
        remedy=mark.remedy,
        value=AS_WRITTEN,
    )
    if column in known:
        return applied(draft, [flag])
    draft = _found(draft, flag, mark.column)
    if takes == "cell":
        taken = Taken(rule=mark.rule, table=table, at=mark.at, scope="cell", column=column)
        draft = replace(draft, taken=(*draft.taken, taken))
    if takes == "row":
        quiet = applied(replace(draft, findings=()), [flag])
        draft = replace(quiet, findings=draft.findings)
    return draft


def _needs_row(table: str, target: str) -> bool:
    """Whether a row cannot stand without what a cell of a target should have given."""
    if target == OVERFLOW:
        return True
    return target in ("collection", "session") and any(
        TABLES[table].column(name).required for name in fills(table, target)
    )


def _found(draft: Draft, flag: Flag, column: str) -> Draft:
    """The draft with the finding of a flag on a target that is no column of the codebook."""
    raw = draft[flag.table].raw
    found = findings_frame(
        row=raw.rows[flag.at],
        severity=flag.severity,
        scope="row" if flag.takes == "row" else "cell",
        rule=flag.rule,
        table=flag.table,
        file=raw.place.file,
        column=column,
        value=AS_WRITTEN,
        problem=flag.problem,
        remedy=flag.remedy,
    )
    return replace(draft, findings=(*draft.findings, found))


def without_index(making: Making, index: Index) -> Making:
    """Patients with a problem of their index drainage, marked to be set aside with all that is theirs."""
    tables, problems = {}, index.problem
    for name, made in making.tables.items():
        at = np.flatnonzero(np.append(problems != "", False)[made.person])
        main = name == "patients"
        tables[name] = made.with_marks(
            Mark(
                rule="INDEX_UNKNOWN" if main else FOLLOWS,
                at=at,
                column=("patient_id" if "patient_id" in made.table.names else "session_id"),
                severity="stops" if main else "notes",
                takes="row",
                problem=problems[made.person[at]] if main else "was set aside from patients, and this with it",
                remedy="Every day is counted from the index drainage: give its date as one day."
                if main
                else "Mend the row it belongs to: this one follows.",
                origin=index.origin.take(made.person[at]) if main else Origin.none(len(at)),
            )
        )
    return making.with_tables(**tables)


def kept_rows(draft: Draft) -> dict[str, np.ndarray]:
    """For each table, which rows (N,) are kept."""
    return {name: table.kept for name, table in draft.tables.items()}


def taken_cells(draft: Draft, table: str) -> Sequence[tuple[str, np.ndarray]]:
    """(column, rows) of the cells of a table that were set aside by a rule."""
    return [(each.column, each.at) for each in draft.taken if each.table == table and each.scope == "cell"]


_CONTACT = ("patients", "last_contact_day")


def filled(making: Making, layout: Layout) -> Making:
    """The tables with their empty cells filled: only where no cell was written at all."""
    patients = _dead(making)
    making = making.with_tables(patients=patients)
    for (table, column), value in layout.fill.items():
        made = making.tables[table]
        rows = _unwritten(making, made, column)
        if (table, column) == ("patients", "vital_status"):
            rows = rows[~_with_a_cell(making, made, "death_day")[rows] | made.text("death_day").filled[rows]]
        if (table, column) == _CONTACT and value in (LAST_RECORD, DATA_LOCK):
            texts = _last_record(making) if value == LAST_RECORD else made.text("observed_days")
            value = texts.take(rows)
        making = making.with_tables(**{table: made.with_text(column, rows, value)})
    return making


def _with_a_cell(making: Making, made: Made, column: str) -> np.ndarray:
    """Rows (N,) for which somebody wrote something in the cell of a column."""
    origin = made.origin(column)
    found = np.zeros(len(made), dtype=bool)
    for number in np.unique(origin.column[origin.column != NOWHERE]):
        rows = np.flatnonzero(origin.column == number)
        found[rows] = making.columns[number].raw.filled()[origin.at[rows]]
    return found


def cell_texts(making: Making, origin: Origin) -> np.ndarray:
    """The cells as written (N,), blank where there is none; a formula without a result reads as "="."""
    texts = np.full(len(origin.column), "", dtype=object)
    for number in np.unique(origin.column[origin.column != NOWHERE]):
        rows = np.flatnonzero(origin.column == number)
        raw = making.columns[number].raw
        texts[rows] = written_in(raw)[raw.which[origin.at[rows]]]
    return texts


def written_in(raw: RawColumn) -> np.ndarray:
    """The different cells (U,) of a column as written; a formula without a result reads as "="."""
    return objects(cell.text.strip() or "=" * cell.no_result for cell in raw.cells)


def _unwritten(making: Making, made: Made, column: str) -> np.ndarray:
    return np.flatnonzero(~made.text(column).filled & ~_with_a_cell(making, made, column))


def _dead(making: Making) -> Made:
    """A patient with a day of death is dead, and was last seen on it, where no cell says otherwise."""
    patients = making.tables["patients"]
    for column, value in (("vital_status", None), ("last_contact_day", "death_day")):
        rows = _unwritten(making, patients, column)
        rows = rows[patients.text("death_day").filled[rows]]
        if len(rows):
            patients = patients.with_text(column, rows, patients.text(value).take(rows) if value else "dead")
    if len(rows):
        seen = patients.origin("last_contact_day").put(rows, patients.origin("death_day").take(rows))
        patients = replace(patients, origins={**patients.origins, "last_contact_day": seen})
    if len(rows) and patients.text("death_day_latest").filled.any():
        patients = patients.with_text("last_contact_day_latest", rows, patients.text("death_day_latest").take(rows))
    return patients


def _last_record(making: Making) -> Texts:
    """For each row of patients, the last day on which anything of the patient is recorded; at least day 0."""
    patients = making.tables["patients"]
    last = np.zeros(max((made.person.max(initial=-1) for made in making.tables.values()), default=-1) + 1)
    for name, made in making.tables.items():
        for column in TABLES[name].columns:
            if column.kind == "day" and name != "patients" and column.name in made.texts:
                days = _numbers(made.text(column.name))
                known = ~np.isnan(days) & (made.person >= 0)
                np.maximum.at(last, made.person[known], days[known])
    observed = _numbers(patients.text("observed_days"))
    until = np.fmin(last[patients.person], observed)
    return Texts.of([str(int(day)) for day in until])


def _numbers(texts: Texts) -> np.ndarray:
    return np.array([_number(text) for text in texts.different], dtype=float)[texts.which]


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return np.nan


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Seen:
    """The different cells (U,) of a column: as they may be shown, and whether there is anything in them."""

    shown: np.ndarray
    filled: np.ndarray

    @classmethod
    def of(cls, raw: RawColumn, *, dates_shown: bool) -> _Seen:
        texts = written_in(raw)
        return cls(
            shown=objects((_with_date if dates_shown else shown_text)(text) for text in texts), filled=texts != ""
        )


def _with_date(text: str) -> str:
    return WITHHELD if may_be_a_birth(text) else text.removesuffix(" 00:00:00")


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Places:
    """Finds the place in the export of rows and columns of made tables. Dates show as written only if `dates_shown`,
    and what may be a birth never."""

    making: Making
    sheets: tuple[LaidSheet, ...]
    name: str
    dates_shown: bool = False
    _kept: dict[int, _Seen] = field(default_factory=dict, init=False, repr=False)

    def all_findings(
        self, frames: Sequence[pd.DataFrame], before: int, said: Sequence[tuple[str, Mark]]
    ) -> pd.DataFrame:
        """The findings of a draft in the places of the export; those of marks, one frame each, come after `before`."""
        told = [self._of_mark(frame, *mark) for frame, mark in zip(frames[before:], said, strict=False)]
        rest = [*frames[:before], *frames[before + len(said) :]]
        told += [self.findings(frame, frame["table"].iloc[0]) for frame in rest if len(frame)]
        return _once(pd.concat(told, ignore_index=True)) if told else no_findings()

    def _of_mark(self, found: pd.DataFrame, table: str, mark: Mark) -> pd.DataFrame:
        place = self.at(self.making.tables[table], mark.column, mark.at, mark.origin)
        return found.assign(**place)

    def findings(self, found: pd.DataFrame, table: str) -> pd.DataFrame:
        """Findings about one made table, in the places of the export."""
        made = self.making.tables[table]
        located = found["row"].notna().to_numpy()
        rows = found["row"].fillna(1).to_numpy(dtype=np.int64) - 1
        out = found.copy()
        out["file"], out["sheet"] = "", ""
        for column in found["column"].unique():
            at = np.flatnonzero((found["column"] == column).to_numpy() & located)
            if len(at):
                place = self.of(made, column, rows[at])
                place["value"] = _value(found["value"].to_numpy(dtype=object)[at], place["value"])
                if column in made.table.names and made.table.column(column).kind == "day":
                    place["problem"] = found["problem"].iloc[at].replace("is below 0", BEFORE_DAY_0).to_numpy(object)
                for name, values in place.items():
                    out.iloc[at, out.columns.get_loc(name)] = values
        out.loc[~located, "file"] = self.name
        return out

    def set_aside(self, listed: pd.DataFrame, table: str) -> pd.DataFrame:
        """Set-aside rows and cells of one made table, in the places of the export."""
        made = self.making.tables[table]
        out = listed.copy()
        rows = listed["row"].to_numpy(dtype=np.int64) - 1
        for column in listed["column"].unique():
            at = np.flatnonzero((listed["column"] == column).to_numpy())
            place = self.of(made, column, rows[at])
            for name in ("file", "sheet", "row", "column"):
                out.iloc[at, out.columns.get_loc(name)] = place[name]
        return out

    def of(self, made: Made, column: str, rows: np.ndarray) -> dict[str, object]:
        """file, sheet, row, column and value of some cells of a made table."""
        return self.at(made, column, rows, best_origin(made, column).take(rows))

    def at(self, made: Made, column: str, rows: np.ndarray, origin: Origin) -> dict[str, object]:
        """The same, of cells whose origin is known."""
        number = np.where(origin.column == NOWHERE, made.sheet[rows], self._sheet_of(origin))
        at = np.where(origin.column == NOWHERE, made.at[rows], origin.at)
        sheets = [self.sheets[each] for each in number]
        filled = "" if _is_code(made, column) else column
        heading = [filled if each == NOWHERE else self.making.columns[each].heading for each in origin.column]
        return {
            "file": [sheet.grid.file for sheet in sheets],
            "sheet": [sheet.grid.sheet for sheet in sheets],
            "row": pd.array([int(row) for row in self._rows(origin, sheets, at)], dtype="Int64"),
            "column": heading,
            "value": self.values(origin),
        }

    def _rows(self, origin: Origin, sheets: Sequence[LaidSheet], at: np.ndarray) -> Iterator[int]:
        """Where the spreadsheet shows each cell."""
        for number, sheet, each in zip(origin.column, sheets, at, strict=True):
            own = 0 if number == NOWHERE else self.making.columns[number].raw.row
            yield own or sheet.rows[each]

    def _sheet_of(self, origin: Origin) -> np.ndarray:
        listed = np.array([*(column.sheet for column in self.making.columns), 0])
        return listed[origin.column]

    def values(self, origin: Origin) -> np.ndarray:
        """The cells as they may be shown."""
        texts = np.full(len(origin.column), "", dtype=object)
        for number in np.unique(origin.column[origin.column != NOWHERE]):
            rows = np.flatnonzero(origin.column == number)
            seen, which = self._seen(int(number)), self.making.columns[number].raw.which[origin.at[rows]]
            withheld = origin.withheld[rows]
            hidden = (withheld == PRIVATE) | ((withheld == DATE) & (not self.dates_shown))
            texts[rows] = np.where(hidden & seen.filled[which], WITHHELD, seen.shown[which])
        return texts

    def filled(self, origin: Origin) -> np.ndarray:
        """Where (N,) an origin is a cell with something in it."""
        found = np.zeros(len(origin.column), dtype=bool)
        for number in np.unique(origin.column[origin.column != NOWHERE]):
            rows = np.flatnonzero(origin.column == number)
            found[rows] = self.filled_in(int(number), origin.at[rows])
        return found

    def filled_in(self, number: int, at: np.ndarray) -> np.ndarray:
        """Where (N,) there is something in the cells of one column of the export."""
        return self._seen(number).filled[self.making.columns[number].raw.which[at]]

    def _seen(self, number: int) -> _Seen:
        if number not in self._kept:
            self._kept[number] = _Seen.of(self.making.columns[number].raw, dates_shown=self.dates_shown)
        return self._kept[number]


def _once(found: pd.DataFrame) -> pd.DataFrame:
    """The findings without those that say the same of the same cell, of which one that takes the row stays."""
    doubtful = found[found.duplicated(["row", "column"], keep=False)]
    graver = doubtful.assign(scope=doubtful["scope"] != "row").sort_values("scope", kind="stable").drop(columns="scope")
    again = graver.index[graver.drop(columns="remedy").duplicated()]
    return found.drop(index=again).reset_index(drop=True) if len(again) else found


def _is_code(made: Made, column: str) -> bool:
    """Whether a column holds codes that the reading gives itself, and that no sheet therefore has."""
    return any(each.name == column and each.kind in ("id", "ids") for each in made.table.all_columns)


def _value(told: np.ndarray, written: np.ndarray) -> np.ndarray:
    """The cell as written, where a finding shows a value at all; what a rule worked out itself stays."""
    made = np.where(told == AS_WRITTEN, "", told)
    return np.where((told != "") & (written != ""), written, made)


def best_origin(made: Made, column: str) -> Origin:
    """The origin of a column; that of the target which fills it, where the column itself came from no cell."""
    own = made.origin(column)
    for target, other in made.origins.items():
        if column in fills(made.table.name, target) and target != column:
            lacking = np.flatnonzero((own.column == NOWHERE) & (other.column != NOWHERE))
            own = own.put(lacking, other.take(lacking))
    return own
