"""Tables of results: what a table is and how it shows itself, and the table of each common kind of result."""

from __future__ import annotations

import html
from dataclasses import dataclass, field, replace
from functools import singledispatch
from itertools import groupby

import pandas as pd

from necrostats.present import cells, contrasts, numbers
from necrostats.present.numbers import (
    FEWEST_FOR_A_RATE,
    FEWEST_PATIENTS_FOR_A_MEAN,
    FEWEST_SESSIONS_FOR_A_MEAN,
    NO_VALUES,
    NOT_DETERMINED,
    TOO_FEW,
    too_few_for_a_rate,
    too_few_to_summarise,
)
from necrostats.present.rates import per_thousand, without_zeros
from necrostats.present.say_curves import at_start, comes_first, main_cause
from necrostats.present.summaries import is_completeness, is_counts
from necrostats.present.wording import (
    ended,
    in_order,
    is_grouped,
    listed,
    not_presentable,
    plain,
    sentence_case,
    table_caption,
    with_n,
)
from necrostats.results import Comparison, Curves, Rates, Result, Summary
from necrostats.shown import framed
from necrostats.visible import visible


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """Cells as text under headings that name their unit; the first `row_heads` columns name the row.

    `words` names the columns that hold words; all others beyond the row heads hold numbers.
    """

    caption: str
    frame: pd.DataFrame = field(repr=False)
    row_heads: int = 1
    notes: tuple[str, ...] = ()
    words: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        shown = self.frame.map(lambda cell: visible(str(cell))).set_axis(map(visible, map(str, self.frame)), axis=1)
        for name, value in (
            ("caption", visible(self.caption)),
            ("frame", shown),
            ("notes", tuple(map(visible, self.notes))),
            ("words", tuple(map(visible, self.words))),
        ):
            object.__setattr__(self, name, value)

    @property
    def html(self) -> str:
        """The table as HTML, without style or script; cells with numbers carry the class "number"."""
        of_numbers = set(self.frame.columns[self.row_heads :]) - set(self.words)
        head = "".join(_head(name, name in of_numbers) for name in self.frame.columns)
        title = f"<caption>{html.escape(self.caption)}</caption>"
        body = "".join(f"<tbody>{rows}</tbody>" for rows in self._bodies())
        notes = "".join(f"<p>{html.escape(note)}</p>" for note in self.notes)
        table = f"<table>{title}<thead><tr>{head}</tr></thead>{body}</table>"
        if self.frame.empty:
            table, notes = "", f"<p>{html.escape(self.caption)}</p>{notes}"
        return table + (f'<div class="table-notes">{notes}</div>' if notes else "")

    def _bodies(self) -> list[str]:
        """One body for each run of rows with the same first cell, or one for all where that cell is alone."""
        rows = [tuple(map(str, row)) for row in self.frame.itertuples(index=False, name=None)]
        if self.row_heads < 2:
            return ["".join(self._row(row, 1) for row in rows)]
        runs = [list(run) for _, run in groupby(rows, key=lambda row: row[0])]
        return ["".join(self._row(row, 0 if place else len(run)) for place, row in enumerate(run)) for run in runs]

    def _row(self, row: tuple[str, ...], span: int) -> str:
        """A row; its first cell heads `span` rows, or stands above already (0)."""
        cells = [_row_head(row[0], span)] if span else []
        cells += [f'<th scope="row">{html.escape(text)}</th>' for text in row[1 : self.row_heads]]
        cells += [_cell(text, name in self.words) for name, text in zip(self.frame, row, strict=True)][self.row_heads :]
        return f"<tr>{''.join(cells)}</tr>"

    @property
    def markdown(self) -> str:
        """The table as markdown: caption, table and notes."""
        columns = [_plain_cell(name) for name in self.frame.columns]
        rule = ["---" if place < self.row_heads else "---:" for place in range(len(columns))]
        rows = [[_plain_cell(cell) for cell in row] for row in self.frame.itertuples(index=False, name=None)]
        lines = [f"| {' | '.join(row)} |" for row in (columns, rule, *rows)]
        return "\n\n".join([_plain_cell(self.caption), "\n".join(lines), *map(_plain_cell, self.notes)])

    def _repr_html_(self) -> str:
        return framed(self.html)


def _head(name: object, is_number: bool) -> str:
    look = ' class="number"' if is_number else ""
    return f'<th scope="col"{look}>{html.escape(numbers.tied(str(name)))}</th>'


def _row_head(text: str, span: int) -> str:
    scope = f'scope="rowgroup" rowspan="{span}"' if span > 1 else 'scope="row"'
    return f"<th {scope}>{html.escape(text)}</th>"


def _cell(text: str, is_words: bool) -> str:
    look = "" if is_words else ' class="number"'
    return f"<td{look}>{html.escape(text)}</td>"


def _plain_cell(text: object) -> str:
    """A text that cannot break out of a markdown cell, and holds no markup."""
    safe = html.escape(" ".join(str(text).split()), quote=False)
    return safe.replace("\\", "\\\\").replace("|", "\\|")


@singledispatch
def table(result: Result, **options) -> Table:
    """The table of a result, each number with its denominator and interval."""
    raise not_presentable(result)


FEW_NOTE = (
    f"Too few: fewer than {FEWEST_FOR_A_RATE}; for a mean, fewer than {FEWEST_SESSIONS_FOR_A_MEAN} sessions with a "
    f"yield or fewer than {FEWEST_PATIENTS_FOR_A_MEAN} patients. Counts only."
)


def _table(
    result: Result, rows: list[dict[str, str]], columns: list[str], row_heads: int, remarks: tuple[str, ...] = ()
) -> Table:
    frame = pd.DataFrame(rows, columns=columns, dtype=object).fillna("")
    small = [FEW_NOTE] if frame.map(lambda cell: cell.endswith(TOO_FEW)).to_numpy().any() else []
    notes = (*small, *map(ended, remarks), *(ended(note.text) for note in result.notes))
    return Table(caption=table_caption(result), frame=frame, row_heads=row_heads, notes=notes)


def _unit_column(unit: str, per: float, level: str) -> str:
    if cells.is_share(per, unit):
        return f"{sentence_case(unit)}: k / n, % ({level})"
    if per == 1:
        return f"{sentence_case(unit)}: events / n ({level})"
    return f"{sentence_case(cells.exposure(unit))}: k / n, per {numbers.count(per)} ({level})"


@table.register(Rates)
def _(result: Rates, **options) -> Table:
    """The denominator table: a row for each variable and group, one column for each unit."""
    table, none = without_zeros(per_thousand(result.frame))
    level = numbers.interval_name(result.method.level)
    few, grouped = too_few_for_a_rate(table), is_grouped(table)
    heads = ["Measure", "Group"] if grouped else ["Measure"]
    columns, rows = list(heads), {}
    for unit in in_order(table["unit"]):
        here = table[table["unit"] == unit]
        if here.empty:
            continue
        name = _unit_column(unit, here["per"].iloc[0], level)
        columns.append(name)
        for row in here.itertuples():
            labels = {"Measure": sentence_case(plain(row.variable)), "Group": plain(row.group)}
            line = rows.setdefault((row.variable, row.group), {head: labels[head] for head in heads})
            line[name] = f"{cells.fraction(row.events, row.n)}, {cells.rate(row, bool(few[row.Index]))}"
    order = [(variable, group) for variable in in_order(table["variable"]) for group in in_order(table["group"])]
    return _table(result, [rows[key] for key in order if key in rows], columns, len(heads), none)


def _landmark_rows(result: Curves, group: object, n: int) -> list[dict[str, str]]:
    rows = result.at_landmarks()
    rows = rows[rows["group"] == group].sort_values(result.axis, kind="stable")
    made: dict[int, dict[str, str]] = {}
    for row in rows.itertuples():
        point = int(getattr(row, result.axis))
        line = made.setdefault(point, {"At risk": numbers.count(row.at_risk)})
        text = cells.share(row.estimate, row.low, row.high, n)
        line[_cause_column(result, row.cause)] = TOO_FEW if n < FEWEST_FOR_A_RATE else text
    return [{_point_column(result): str(point)} | line for point, line in made.items()]


def _point_column(result: Curves) -> str:
    return "Within sessions" if result.axis == "sessions" else "By day"


def _cause_column(result: Curves, cause: object) -> str:
    first = " first" if comes_first(cause, main_cause(result)) else ""
    return f"{sentence_case(plain(cause))}{first}, % ({numbers.interval_name(result.method.level)})"


def _median_row(result: Curves, group: object, n: int) -> list[dict[str, str]]:
    if result.medians.empty:
        return []
    named = result.medians["cause"] == in_order(result.medians["cause"])[0]
    shown = named | result.medians["estimate"].notna()
    found = result.medians[shown & (result.medians["group"] == group)]
    line = {_point_column(result): f"Median, {result.axis}"}
    for row in found.itertuples():
        text = cells.median_reached(row.estimate, row.low, row.high)
        line[_cause_column(result, row.cause)] = TOO_FEW if n < FEWEST_FOR_A_RATE else text
    return [line] if len(found) else []


@table.register(Curves)
def _(result: Curves, **options) -> Table:
    """Incidence at the points named in advance, with the numbers at risk; then the medians that were reached."""
    table, grouped = result.frame, is_grouped(result.frame)
    heads = ["Group", _point_column(result)] if grouped else [_point_column(result)]
    made = []
    for group in in_order(table["group"]):
        here = table[table["group"] == group]
        n = at_start(here) if len(here) else 0
        name = {"Group": with_n(plain(group), numbers.count(n))}
        lines = [*_landmark_rows(result, group, n), *_median_row(result, group, n)] if n else []
        made += [name | line for line in lines or [{_point_column(result): "nobody at risk"}]]
    causes = [_cause_column(result, cause) for cause in in_order(table["cause"])]
    return _table(result, made, [*heads, "At risk", *causes], len(heads))


def _level_cell(row, few: bool) -> str:
    """ "40 (41 %)" for a level, "40, 41 % (31–52)" with an interval, "56 (44–67)" for a median."""
    if row.measure != "share" or not row.n:
        return cells.description(row, few)
    shown, count = cells.description(row, few), numbers.count(row.events)
    if few:
        return count
    return f"{count}, {shown}" if numbers.known(row.low) else f"{count} ({shown})"


def _group_column(rows: pd.DataFrame, group: object, grouped: bool) -> str:
    """The name of a group with its size, where every variable speaks of the same number of subjects."""
    name = plain(group) if grouped else "All"
    sizes = set(rows["n"] + rows["missing"])
    return with_n(name, numbers.count(sizes.pop())) if len(sizes) == 1 else name


def _had_by_somebody(rows: pd.DataFrame) -> pd.DataFrame:
    """Without the levels that nobody in any group has; a variable without any value keeps its first one."""
    keys = [rows["variable"].astype(object), rows["level"].astype("string").fillna("")]
    some = (rows["events"].fillna(0) > 0).groupby(keys).transform("any")
    valued = (rows["n"] > 0).groupby(keys[0]).transform("any")
    first = ~keys[0].duplicated()
    return rows[(rows["measure"] != "share") | (some & valued) | (first & ~valued)]


def _line(rows: pd.DataFrame, few: pd.Series) -> str:
    """A variable of one group in one cell: "median 56 (44–67)", "female 2 (22 %), male 7 (78 %)"."""
    row = next(rows.itertuples())
    if row.measure != "share":
        return f"{row.measure} {_level_cell(row, bool(few[row.Index]))}"
    if not row.n:
        return NO_VALUES
    some = rows[rows["events"] > 0]
    each = ((plain(row.level), _level_cell(row, bool(few[row.Index]))) for row in some.itertuples())
    return ", ".join(f"{name}: {text}" if name[-1:].isdigit() else f"{name} {text}" for name, text in each)


def _in_lines(result: Summary, rows: pd.DataFrame, few: pd.Series) -> Table:
    """The same with one row a variable: its levels after each other, those that nobody has left out.

    Of fewer than five everywhere they are said in a sentence.
    """
    grouped, columns = is_grouped(result.frame), ["Variable"]
    made = {variable: {"Variable": sentence_case(plain(variable))} for variable in in_order(rows["variable"])}
    for group in in_order(rows["group"]):
        here = rows[rows["group"] == group]
        value = _group_column(here, group, grouped)
        lacking = f"Missing, {plain(group)}" if grouped else "Missing"
        columns += [value, lacking]
        for variable, line in made.items():
            own = here[here["variable"] == variable]
            if len(own):
                line |= {value: _line(own, few), lacking: numbers.count(own["missing"].iloc[0])}
    nobody = not (rows["n"] + rows["missing"]).any()
    remarks = ("There is nobody to describe.",) if nobody else ()
    lines = [] if nobody else list(made.values())
    told = [line for line in lines if any(TOO_FEW not in line[name] for name in columns[1::2])]
    if untold := [line["Variable"] for line in lines if line not in told]:
        remarks = (f"Too few for a median: {', '.join(untold)}.",)
    if told and not grouped and (rows["n"] < FEWEST_FOR_A_RATE).all():
        named = (f"{line['Variable']} {line[columns[1]]}" for line in told)
        told, remarks = [], (ended("; ".join(named)), *remarks)
    shown = _table(result, told, columns, 1, remarks)
    return replace(shown, words=tuple(name for name in columns if not name.startswith(("Variable", "Missing"))))


def _baseline(result: Summary, rows: pd.DataFrame, few: pd.Series) -> Table:
    """Variables and levels down, groups across; how many have no value stands once a variable.

    A level that nobody has is left out.
    """
    grouped = is_grouped(result.frame)
    rows = _had_by_somebody(rows)
    made: dict[tuple, dict[str, str]] = {}
    columns = ["Variable", "Level"]
    for group in in_order(rows["group"]):
        here = rows[rows["group"] == group]
        value = _group_column(here, group, grouped)
        lacking = f"Missing, {plain(group)}" if grouped else "Missing"
        columns += [value, lacking]
        said = set()
        for row in here.itertuples():
            level = "median (quartiles)" if row.measure == "median" else plain(row.level)
            names = {"Variable": sentence_case(plain(row.variable)), "Level": level}
            line = made.setdefault((row.variable, level), names)
            line[value] = _level_cell(row, bool(few[row.Index]))
            line[lacking] = "" if row.variable in said else numbers.count(row.missing)
            said.add(row.variable)
    order = {variable: place for place, variable in enumerate(in_order(rows["variable"]))}
    sorted_rows = [made[key] for key in sorted(made, key=lambda key: order[key[0]])]
    if "difference" in rows.columns:
        columns.append(_difference_heading(rows))
        gaps = rows.drop_duplicates("variable").set_index("variable")["difference"]
        for variable in order:
            first = next(key for key in made if key[0] == variable)
            made[first][columns[-1]] = _gap(gaps[variable])
    return _table(result, sorted_rows, columns, 2)


def _difference_heading(rows: pd.DataFrame) -> str:
    several = len(in_order(rows["group"])) > 2
    return "Largest standardised difference" if several else "Standardised difference"


def _gap(value: float) -> str:
    return numbers.rounded(value, 2) if numbers.known(value) else NOT_DETERMINED


def _means(result: Summary, rows: pd.DataFrame, few: pd.Series) -> Table:
    level = numbers.interval_name(result.method.level)
    rows, undrawn = _with_a_mean(rows, few)
    columns = ["Measure", "Group", "Patients", "Sessions", "No yield at all", "Missing", f"Geometric mean ({level})"]
    made = [
        dict(
            zip(
                columns,
                (
                    sentence_case(plain(row.variable)),
                    plain(row.group),
                    numbers.count(row.patients),
                    numbers.count(row.n),
                    numbers.count(row.events),
                    numbers.count(row.missing),
                    cells.description(row, bool(few[row.Index])),
                ),
                strict=True,
            )
        )
        for row in rows.itertuples()
    ]
    return _table(result, made, columns, 2, undrawn)


def _with_a_mean(rows: pd.DataFrame, few: pd.Series) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Without the measures of which no group has a mean, unless that is all of them; those in a sentence."""
    held = rows[(rows["n"] > 0) | (rows["missing"] > 0)]
    rows = held if len(held) else rows
    shown = rows[~few.loc[rows.index] & rows["estimate"].notna()]
    left = [each for each in in_order(rows["variable"]) if each not in set(shown["variable"])]
    if not left or shown.empty:
        return rows, ()
    sizes = rows.groupby(rows["variable"].astype(object))["n"].sum()
    named = listed(f"{plain(variable)} ({numbers.count(sizes[variable])})" for variable in left)
    return rows[~rows["variable"].isin(left)], (f"Too few for any mean, with their sessions: {named}.",)


def _filled(result: Summary, rows: pd.DataFrame, few: pd.Series) -> Table:
    grouped = is_grouped(result.frame)
    heads = ["Column", "Group"] if grouped else ["Column"]
    columns = [*heads, "Filled / rows", "Filled, %"]
    made = []
    for row in rows.itertuples():
        line = {"Column": plain(row.variable), "Group": plain(row.group)}
        line |= {"Filled / rows": cells.fraction(row.events, row.n)}
        made.append(line | {"Filled, %": cells.description(row, bool(few[row.Index]))})
    return _table(result, made, columns, len(heads))


def _counts(result: Summary, rows: pd.DataFrame) -> Table:
    """Variables down, their levels across and the total last; those of which there is none are named below."""
    heads = ["Measure", "Group"] if is_grouped(rows) else ["Measure"]
    levels = [sentence_case(plain(level)) for level in in_order(rows["level"])]
    made, none = [], []
    for variable in in_order(rows["variable"]):
        of_variable = rows[rows["variable"] == variable]
        if not of_variable["n"].sum():
            none.append(plain(variable))
            continue
        for group in in_order(rows["group"]):
            here = of_variable[of_variable["group"] == group]
            line = {"Measure": sentence_case(plain(variable)), "Group": plain(group)}
            counts = (numbers.count(events) for events in here["events"])
            line |= dict(zip(levels, counts, strict=True)) | {"Total": numbers.count(here["n"].iloc[0])}
            made.append({name: text for name, text in line.items() if name != "Group" or "Group" in heads})
    remarks = (f"None recorded: {listed(none)}.",) if none else ()
    return _table(result, made, [*heads, *levels, "Total"], len(heads), remarks)


@table.register(Summary)
def _(result: Summary, *, brief: bool = False, **options) -> Table:
    """A baseline table, a table of means, counts by level, or a table of how complete the columns are.

    `brief`: the baseline table with one row a variable.
    """
    table, few = result.frame, too_few_to_summarise(result.frame)
    if is_counts(table):
        return _counts(result, table)
    if (table["measure"].astype(object) == "geometric mean").any():
        return _means(result, table, few)
    if is_completeness(table):
        return _filled(result, table, few)
    return _in_lines(result, table, few) if brief else _baseline(result, table, few)


@table.register(Comparison)
def _(result: Comparison, **options) -> Table:
    """A row for each contrast, with its interval and, where there is one, the p-value."""
    level = numbers.interval_name(result.method.level)
    tested, counted = result.frame["p_value"].notna().any(), "n_ref" in result.frame.columns
    p_value = contrasts.p_heading(result.frame)
    both = ["Group: events / n", "Reference: events / n"] * counted
    columns = ["Measure", "Groups", *both, f"Estimate ({level})", *([p_value] if tested else [])]
    made = [
        {
            "Measure": contrasts.subject(row),
            "Groups": contrasts.pair(row),
            **dict(zip(both, contrasts.counts(row), strict=False)),
            f"Estimate ({level})": contrasts.text(row),
            p_value: numbers.p_value(row.p_value).removeprefix("p = ").removeprefix("p "),
        }
        for row in result.frame.itertuples()
    ]
    return _table(result, made, columns, 2, contrasts.rules(result.frame))
