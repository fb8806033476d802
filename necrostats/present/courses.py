"""The chart of patient courses: which patients, under which headings, to which day.

Patient courses in words: one row a patient, and what there is to say of them all.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pandas as pd

from necrostats.definitions.adverse_events import AGREE
from necrostats.errors import ChoiceError
from necrostats.present import numbers
from necrostats.present.course_drawing import SERIOUS, Section, Sheet, draw, marks, spans, undrawn
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.style import drawing
from necrostats.present.tables import Table, table
from necrostats.present.wording import (
    about,
    alternative,
    caption,
    ended,
    findings,
    in_order,
    is_grouped,
    listed,
    plain,
    plural,
    sentence_case,
    table_caption,
    with_n,
)
from necrostats.results import Courses

HOW_ENDED = {
    "resolved": ("resolved", "Resolved"),
    "death": ("died unresolved", "Died unresolved"),
    "surgery": ("had surgery first", "Surgery before resolution"),
    "percutaneous drain": ("had a percutaneous drain first", "Percutaneous drain before resolution"),
}


def heading(outcome: object) -> str:
    """An outcome as the heading of the patients who had it."""
    return HOW_ENDED[outcome][1] if outcome in HOW_ENDED else sentence_case(plain(outcome))


def _day(value: object) -> str:
    return f"{int(value)}".replace("-", numbers.MINUS) if numbers.known(value) else ""


def _days(row) -> str:
    """A day, or a range of days."""
    return numbers.joined(_day(row.day), _day(row.day_to)) if numbers.known(row.day_to) else _day(row.day)


def _scan(row) -> str:
    size = f"{numbers.plain_number(row.size_mm)} mm" if numbers.known(row.size_mm) else "not measured"
    return f"{_days(row)}: {size}"


def _event(row) -> str:
    grade = row.grade if numbers.known(row.grade) else "no grade"
    return f"{_days(row)}: {plain(row.detail)}, {grade}"


def _stent(row) -> str:
    until = numbers.joined(_day(row.day), _day(row.day_to)) if numbers.known(row.day_to) else f"{_day(row.day)} to ?"
    return f"{until}: {plain(row.detail)}"


def _named(row) -> str:
    return f"{_days(row)}: {plain(row.detail)}"


_COLUMNS: dict[str, tuple[tuple[str, ...], Callable]] = {
    "drainages": (("drainage",), _days),
    "necrosectomies": (("necrosectomy",), _days),
    "other sessions": (("other session",), _named),
    "stents": (("stent",), _stent),
    "scans": (("scan",), _scan),
    "adverse events, AGREE grade": (("adverse event",), _event),
    "other interventions": (("surgery", "percutaneous drain", "other intervention"), _named),
    "death": (("death",), _days),
}


def course_lines(result: Courses, patients: list[int] | None = None) -> pd.DataFrame:
    """One row a patient: outcome, day of the end, last contact, and what happened on which days."""
    table = result.frame
    table = table if patients is None else table[table["patient"].isin(patients)]
    course = table[table["what"] == "course"].set_index("patient")
    lines = {"patient": course.index.to_numpy()}
    if is_grouped(table):
        lines["group"] = [plain(group) for group in course["group"]]
    lines["outcome"] = course["outcome"].astype(object).to_numpy()
    lines["end, day"] = course["day_to"].astype("int64").to_numpy()
    followed = table[table["what"] == "follow-up"].set_index("patient")["day_to"]
    last = course["day_to"].where(~course.index.isin(followed.index), followed.reindex(course.index))
    lines["last contact, day"] = last.astype("int64").to_numpy()
    for name, (kinds, say) in _COLUMNS.items():
        said: dict[int, list[str]] = {}
        for row in table[table["what"].isin(list(kinds))].itertuples():
            said.setdefault(row.patient, []).append(say(row))
        lines[name] = ["; ".join(said.get(patient, [])) for patient in course.index]
    return pd.DataFrame(lines)


@table.register(Courses)
def _(result: Courses, **options) -> Table:
    """One row a patient, with the days of everything recorded."""
    lines = course_lines(result)
    heads = {name: sentence_case(name) for name in lines.columns}
    frame = pd.DataFrame({heads[name]: lines[name].astype(str) for name in lines.columns}, dtype=object)
    words = tuple(heads[name] for name in lines.columns if lines[name].dtype.kind not in "iu")
    empty = () if len(lines) else ("Nobody.",)
    return Table(
        caption=table_caption(result),
        frame=frame,
        words=words,
        notes=(*empty, "Days are counted from the index drainage.", *(ended(note.text) for note in result.notes)),
    )


def _ended_so(outcome: object, many: int) -> str:
    """ "116 resolved", "1 was still under treatment"."""
    said = HOW_ENDED[outcome][0] if outcome in HOW_ENDED else f"{'was' if many == 1 else 'were'} {outcome}"
    return f"{many:,} {said}"


def _outcomes(table: pd.DataFrame) -> str:
    outcome = table.loc[table["what"] == "course", "outcome"]
    seen = outcome.value_counts(sort=False)
    said = listed(_ended_so(name, seen[name]) for name in in_order(outcome) if seen[name])
    return f"Of {len(outcome):,} {plural(len(outcome), 'patients')}, {said}."


def _totals(table: pd.DataFrame) -> str:
    what = table["what"].value_counts()
    events = table[table["what"] == "adverse event"]
    serious = int(events["grade"].astype(object).isin(AGREE.at_least(AGREE.serious_from)).sum())
    many = what["necrosectomy"]
    counted = f"{many:,} {'necrosectomy' if many == 1 else 'necrosectomies'}"
    stents, scans = what["stent"], what["scan"]
    said = [counted, f"{stents:,} {plural(stents, 'stents')}", f"{scans:,} {plural(scans, 'scan days')}"]
    said.append(f"{len(events):,} {plural(len(events), 'adverse events')}")
    return f"Recorded in all: {listed(said)}" + (f" ({serious:,} {SERIOUS})." if len(events) else ".")


@findings.register(Courses)
def _(result: Courses, **options) -> tuple[str, ...]:
    """How many courses ended how, in counts, and how much was recorded."""
    table = result.frame
    if table.empty:
        return ("There is no patient to show.",)
    grouped = is_grouped(table)
    parts = [(group, table[table["group"] == group]) for group in in_order(table["group"])]
    said = [about(group, grouped, _outcomes(rows)) for group, rows in parts if len(rows)]
    caution = "These are counts: a course still open may yet end in any way, so they are not shares."
    return (*said, _totals(table), caution)


MOST_ON_A_PAGE = 160
PRIVATE = "For review inside the unit: a course can be recognised by somebody who knows the patient"
NEW_LINE = "Dark line: the course; pale line: seen after its end"


def _page(result: Courses, page: int) -> tuple[list[int], int]:
    """The patients of a page, and how many pages there are."""
    everybody = sorted(result.frame["patient"].unique().tolist())
    pages = max(1, -(-len(everybody) // MOST_ON_A_PAGE))
    if page not in range(1, pages + 1):
        raise ChoiceError(f'"{page}" is not a page of this figure. Choose from 1 to {pages}.')
    per_page = -(-len(everybody) // pages)
    return everybody[(page - 1) * per_page : page * per_page], pages


def _sections(result: Courses, patients: list[int]) -> tuple[Section, ...]:
    """A section for each group, or without groups for each outcome; n counts all of them, on whichever page."""
    course = result.frame[result.frame["what"] == "course"]
    key = "group" if is_grouped(course) else "outcome"
    on_page, sections = set(patients), []
    for name in in_order(course[key]):
        everybody = course.loc[course[key] == name, "patient"].tolist()
        here = tuple(patient for patient in everybody if patient in on_page)
        if here:
            title = with_n(heading(name) if key == "outcome" else sentence_case(plain(name)), f"{len(everybody):,}")
            sections.append(Section(title=title, patients=here))
    return tuple(sections)


def _outside(result: Courses, patients: list[int], until: int) -> str:
    before, after = undrawn(result, patients, until)
    parts = [f"{before:,} before day 0"] * bool(before) + [f"{after:,} after day {until}"] * bool(after)
    return f"Recorded and not drawn: {' and '.join(parts)}" if parts else ""


def _until(result: Courses, until: int | None) -> int:
    day = result.horizon if until is None else until
    if day < 1:
        raise ChoiceError(f'"{day}" is no last day for patient courses: choose 1 or later.')
    return int(day)


def _sheet(result: Courses, patients: list[int], until: int, remarks: tuple[str, ...]) -> Sheet:
    drawn, lines = marks(result, until), spans(result, until)
    here: pd.DataFrame = drawn[drawn["patient"].isin(patients)]
    return Sheet(
        sections=_sections(result, patients),
        marks=here,
        spans=lines[lines["patient"].isin(patients)],
        counts=here["look"].value_counts().to_dict(),
        until=until,
        remarks=tuple(filter(None, remarks)),
    )


@chart.register(Courses)
def _(result: Courses, *, width: str = "page", until: int | None = None, page: int = 1, **options) -> Figure:
    """A line for each patient. `until` is the last day drawn (default: the horizon); `page` for more than 160."""
    last, inches = _until(result, until), check_width(width)
    patients, pages = _page(result, page)
    paged = f"Page {page} of {pages}" if pages > 1 else ""
    remarks = (NEW_LINE, _outside(result, patients, last), paged)
    redraw = partial(draw, _sheet(result, patients, last, remarks))
    with drawing():
        sheet = redraw(inches)
    kind = f"Patient courses, one line a patient to day {last}{f', {paged.lower()}' if paged else ''}"
    return Figure(
        fig=sheet,
        alt=alternative(result, kind),
        data=course_lines(result, patients),
        redraw=redraw,
        caption=caption(result, *remarks, PRIVATE),
    )
