"""A proposed layout as text: a line for each thing that it says, every guess marked as one."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from necrostats.registry.days import read_date
from necrostats.registry.export.cells import ID_HABITS, Grid, RawCell, RawColumn
from necrostats.registry.export.draft_evidence import ANSWERS, KINDS, coded, may_say, says_necrosectomy
from necrostats.registry.export.heading_guesses import Group, Guess, Reader, beyond, filled_cells, phrases
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.layout_keys import choices_of
from necrostats.registry.export.patients import key_of
from necrostats.registry.privacy import find_identifiers
from necrostats.registry.text import folded

GUESS = "# a guess: "
OPEN = "# not guessed: "
_MOST_WORDS = 20
_ORDERS = ("day_first", "month_first")


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Sheet:
    """A sheet with its headings and the rows below them, and who its rows are about.

    `names`: several sheets of which each is a form, with its `labels` and `values` in these columns, or holds a table
    that `starts` so below one. `where`: a heading, and what the rows say there that are meant.
    """

    grid: Grid
    header_rows: tuple[int, ...]
    columns: dict[str, RawColumn]
    key: str = ""
    session: str = ""
    names: tuple[str, ...] = ()
    labels: str = ""
    values: str = ""
    label_rows: str = ""
    starts: str = ""
    where: tuple[str, tuple[str, ...]] | None = None

    @property
    def every_name(self) -> tuple[str, ...]:
        """What the layout calls it, or each of several."""
        return self.names or (self.grid.name,)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Maker:
    """One [[sheet.rows]] to propose."""

    table: str
    found: tuple[Guess, ...]
    group: Group | None = None
    index: bool = False

    @property
    def score(self) -> float:
        """How much speaks for it."""
        return sum(each.score for each in self.found)

    def holds(self, target: str) -> bool:
        """Whether a heading becomes this target."""
        return any(each.target == target for each in self.found)


Plan = tuple[list[Sheet], list[Maker]]


def dates_lines(sheets: Sequence[Sheet]) -> Iterator[str]:
    orders = orders_of(sheets)
    yield "[dates]"
    if len(orders) == 1:
        yield f'order = "{orders.pop()}"  {GUESS}some dates fit no other order'
    elif orders:
        yield f'order = "day_first"  {GUESS}dates of both orders occur; columns of the other order say so below'
    else:
        yield '# order = "day_first"  # or "month_first": no date typed as text shows its order; say it'
    yield "# data_lock = 2026-09-30   # the day the data were locked: say it\n"


def number_lines(reader: Reader) -> Iterator[str]:
    if reader.decimal:
        yield f'[numbers]\ndecimal = "{reader.decimal}"  {GUESS}most numbers with decimals have it\n'


def id_lines(sheets: Sequence[Sheet], main: Sheet | None) -> Iterator[str]:
    """What codes of other sheets lack to be those of the patients: their form, or habits of writing."""
    if main is None or not main.key:
        return
    known = _written_codes(main)
    strays = {code for sheet in sheets if sheet.key and sheet is not main for code in _written_codes(sheet)} - known
    form, habits = _told_apart(strays, known)
    if form or habits:
        yield "[ids]"
        if form:
            yield f"form = {toml(form)}  {GUESS}codes of other sheets lack its letters or zeros"
        if habits:
            yield f"ignore = {tomls(habits)}  {GUESS}codes of other sheets differ from the patients' in these"
        yield ""


def _told_apart(strays: set[str], known: set[str]) -> tuple[str, list[str]]:
    """The form of codes and the fewest habits by which the most codes of other sheets are those of patients, no two of
    whom become one."""
    ways = [
        (form, habits)
        for form in dict.fromkeys(("", _form(known)))
        for number in range(len(ID_HABITS) + 1)
        for habits in combinations(ID_HABITS, number)
    ]
    found = [_found_by(Layout(sheets=(), id_form=form, id_habits=habits), strays, known) for form, habits in ways]
    rank = [
        (-count, len(habits) + bool(form), not form, at)
        for at, (count, (form, habits)) in enumerate(zip(found, ways, strict=True))
    ]
    form, habits = ways[min(rank)[-1]]
    return form, list(habits)


def _written_codes(sheet: Sheet) -> set[str]:
    return {folded(cell.text) for cell in filled_cells(sheet.columns[sheet.key])}


def _found_by(way: Layout, strays: set[str], known: set[str]) -> int:
    """How many codes of other sheets are those of patients; none, if two patients become one."""
    there = {key_of(code, way) for code in known}
    return sum(key_of(code, way) in there for code in strays) if len(there) == len(known) else 0


def _form(known: set[str]) -> str:
    """ "P000" where most codes of patients are so; blank where no one form is that of most."""
    shaped = Counter((found[1], len(found[2])) for code in known if (found := re.fullmatch(r"(\D*)([0-9]+)", code)))
    (prefix, width), count = shaped.most_common(1)[0] if shaped else (("", 0), 0)
    return f"{prefix.upper()}{'0' * width}" if count > len(known) / 2 else ""


def sex_lines(plans: Sequence[Plan], reader: Reader) -> Iterator[str]:
    """What M is in Spanish, mujer or masculino, by the letter that stands beside it."""
    columns = [
        sheet.columns[guess.heading]
        for (sheet, *_), makers in plans
        for maker in makers
        for guess in maker.found
        if guess.target == "sex"
    ]
    written = {folded(cell.text) for column in columns for cell in filled_cells(column)}
    if reader.language == "es" and "m" in written:
        meant, other = ("male", "F") if "f" in written else ("female", "V or H")
        yield f'[synonyms.sex]\n"M" = "{meant}"  {GUESS}{other} stands for the other\n'


def word_lines(plans: Sequence[Plan]) -> Iterator[str]:
    """Words in columns of codes that stand for none yet, for a person to explain; headings repeated there are none."""
    by_column: dict[str, list[str]] = {}
    headings = {folded(heading) for (sheet, *_), _ in plans for heading in sheet.columns}
    for guess in (each for _, makers in plans for maker in makers for each in maker.found if each.unread):
        name = "instrument_class" if guess.target == "instruments" else guess.target
        by_column.setdefault(name, []).extend(guess.unread)
    for name, words in by_column.items():
        new = [word for word in dict.fromkeys(map(folded, words)) if word not in headings]
        told = [word for word in new if not find_identifiers([], [("a cell", word)])]
        if told:
            yield f"# [synonyms.{name}]  # words that stand for no code yet; the codes: {', '.join(choices_of(name))}"
            yield from (f'# {toml(word)} = ""' for word in told[:_MOST_WORDS])
            yield ""


def fill_lines(plans: Sequence[Plan]) -> Iterator[str]:
    targets = {(each.table, guess.target) for _, makers in plans for each in makers for guess in each.found}
    yield "[fill]"
    if ("patients", "vital_status") not in targets:
        beside = list(_answers_beside(plans))
        line = '"patients.vital_status" = "alive"  '
        if ("patients", "death_day") in targets and not beside:
            yield f"{line}{GUESS}only if every death is recorded"
        else:
            yield f"# {line}{OPEN}only if every death is recorded{may_say(beside)}"
    if ("patients", "last_contact_day") not in targets:
        yield f'"patients.last_contact_day" = "last_record"  {GUESS}no column seems to hold the last contact'
    yield ""


def _answers_beside(plans: Sequence[Plan]) -> Iterator[str]:
    """Columns beside what is known of the patients that nothing is guessed of, and that may say who is alive."""
    for (sheet, *_), makers in plans:
        if any(maker.table == "patients" for maker in makers):
            yield from coded(sheet.columns, _rest(sheet, makers), ANSWERS, phrases()["patients"]["vital_status"])


def open_lines(names: Sequence[str]) -> Iterator[str]:
    """Sheets about patients of which nothing says what their rows are."""
    if names:
        yield f"{OPEN}what the rows of these sheets are: {', '.join(map(toml, names))}."
        yield "# Add a [[sheet]] for each, or name it in ignore_sheets."


def sheet_lines(group: Sequence[Sheet], makers: Sequence[Maker], *, indexed: bool) -> Iterator[str]:
    sheet = group[0]
    names = [name for each in group for name in each.every_name]
    yield "[[sheet]]"
    yield f"name = {toml(names[0]) if len(names) == 1 else tomls(names)}"
    yield from _place_lines(sheet)
    if sheet.where:
        yield f"where = {{ {toml(sheet.where[0])} = {tomls(sheet.where[1])} }}  {GUESS}rows of these kinds"
    if sheet.names and not sheet.key:
        yield f'patient = "{{sheet}}"  {GUESS}each sheet is a patient: its name must be the study code'
    elif sheet.key:
        yield f"patient = {toml(sheet.key)}  {GUESS}it must hold study codes, not record numbers"
    elif sheet.session:
        yield f"session = {toml(sheet.session)}  {GUESS}it names a session, and through it the patient"
    else:
        yield f"each_row_is_a_patient = true  {GUESS}no column looks like a study code"
    rest = _rest(sheet, makers)
    if rest:
        yield f"# not guessed; map each of them, or ignore it by name: {', '.join(toml(each) for each in rest)}"
    yield "ignore = []\n"
    for maker in makers:
        yield from _rows(sheet, maker, rest, indexed=indexed)


def _place_lines(sheet: Sheet) -> Iterator[str]:
    if sheet.labels:
        yield f"labels = {toml(sheet.labels)}  {GUESS}these sheets share the labels in this column"
        yield f"values = {toml(sheet.values)}"
        yield f"label_rows = {toml(sheet.label_rows)}"
    elif sheet.starts:
        yield f"starts = {toml(sheet.starts)}  {GUESS}the first row full of headings below a form"
    else:
        yield f"header_rows = {list(sheet.header_rows)}  {GUESS}the first row that looks like headings"


def _rest(sheet: Sheet, makers: Sequence[Maker]) -> list[str]:
    told = {sheet.key, sheet.session, *(sheet.where or ())[:1]}
    for maker in makers:
        found = [guess.heading for guess in maker.found]
        if maker.group:
            told |= {maker.group.written[form, number] for form in found for number in maker.group.numbers}
            told.add(beyond(list(sheet.columns), maker.group.stem))
        told |= set(found)
    return [heading for heading, column in sheet.columns.items() if heading not in told and column.filled().any()]


def _rows(sheet: Sheet, maker: Maker, rest: Sequence[str], *, indexed: bool) -> Iterator[str]:
    group = maker.group
    yield "[[sheet.rows]]"
    yield f"table = {toml(maker.table)}  {GUESS}{'from the numbered headings' if group else 'from names and contents'}"
    if group:
        yield f"numbers = {list(group.numbers)}"
    if maker.index:
        yield f"index = true  {GUESS}its date is day 0"
        yield f'constants = {{ session_type = "drainage" }}  {GUESS}the index drainage'
    elif maker.table == "sessions" and not maker.holds("session_type"):
        yield _every_session(sheet, maker, rest)
    elif maker.table == "sessions" and not indexed:
        yield f'index = "first_drainage"  {GUESS}no column seems to hold the date of the index drainage'
    if maker.table == "stents" and not (maker.holds("stent_type") or maker.holds("stent")):
        yield _every_stent(sheet, rest)
    yield "[sheet.rows.columns]"
    for guess in maker.found:
        yield f"{toml(guess.heading)} = {_target(guess)}  {GUESS}{guess.evidence}"
    if group and maker.table == "sessions":
        yield from _overflow(sheet, maker)
    yield ""


def _every_session(sheet: Sheet, maker: Maker, rest: Sequence[str]) -> str:
    line = 'constants = { session_type = "necrosectomy" }  '
    if maker.group:
        texts, beside = [*maker.group.every_heading()], []
    elif sheet.where:
        texts, beside = sheet.where[1], []
    else:
        texts = [sheet.grid.name, *sheet.columns]
        beside = list(coded(sheet.columns, rest, KINDS, phrases()["sessions"]["session_type"]))
    if says_necrosectomy(texts) and not beside:
        return f"{line}{GUESS}if each of them is one"
    return f"# {line}{OPEN}nothing says what each of them was{may_say(beside)}"


def _every_stent(sheet: Sheet, rest: Sequence[str]) -> str:
    line = 'constants = { stent_type = "lumen_apposing" }  '
    beside = list(coded(sheet.columns, rest, KINDS, phrases()["stents"]["stent_type"]))
    return (
        f"# {line}{OPEN}the kind of each stent{may_say(beside)}" if beside else f"{line}{GUESS}the kind is not written"
    )


def _overflow(sheet: Sheet, maker: Maker) -> Iterator[str]:
    if rest := beyond(list(sheet.columns), maker.group.stem):
        yield f"[sheet.rows.overflow]\ncolumn = {toml(rest)}  {GUESS}from the heading"
        yield f'between = ";"  {GUESS}what stands between sessions'
        yield f"parts = {tomls(guess.heading for guess in maker.found)}  {GUESS}their parts in order"
        yield f'between_parts = "|"  {GUESS}what stands between the parts of one session'


def _target(guess: Guess) -> str:
    if guess.target == "operator":
        return '{ to = "operator", pseudonyms = true }'
    if guess.opposite:
        codes = ", ".join(f"{toml(word)} = {toml(code)}" for word, code in guess.opposite)
        return f"{{ to = {toml(guess.target)}, codes = {{ {codes} }} }}"
    if guess.day_first is False:
        return f'{{ to = {toml(guess.target)}, order = "month_first" }}'
    return f"{{ to = {toml(guess.target)}, unit = {toml(guess.unit)} }}" if guess.unit else toml(guess.target)


def toml(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def tomls(texts) -> str:
    return f"[{', '.join(map(toml, texts))}]"


def all_cells(sheets: Sequence[Sheet]) -> Iterator[RawCell]:
    for sheet in sheets:
        for column in sheet.columns.values():
            yield from (cell for cell in filled_cells(column) if cell.value is None)


def orders_of(sheets: Sequence[Sheet]) -> set[str]:
    """The orders of day and month that dates typed as text have where only one order fits."""
    found = set()
    for cell in all_cells(sheets):
        if re.match(r"\s*[0-9]{1,2}[/.-][0-9]{1,2}[/.-][0-9]{2,4}\s*$", cell.text):
            fits = {order: read_date(cell.text, day_first=order == "day_first").known for order in _ORDERS}
            found |= {order for order in _ORDERS if fits[order]} if sum(fits.values()) == 1 else set()
    return found
