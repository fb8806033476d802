"""The chart of patient courses: which patients, under which headings, to which day."""

from __future__ import annotations

from functools import partial

import pandas as pd

from necrostats.errors import ChoiceError
from necrostats.present.course_drawing import Section, Sheet, draw
from necrostats.present.course_lines import course_lines, heading
from necrostats.present.course_marks import marks, spans, undrawn
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.labels import in_order, is_grouped, plain, sentence_case, with_n
from necrostats.present.style import drawing
from necrostats.present.wording import alternative, caption
from necrostats.results import Courses

MOST_ON_A_PAGE = 160
PRIVATE = "For review inside the unit: a course can be recognised by somebody who knows the patient"
NEW_LINE = "Dark line: the course; pale line: seen after its end"


def _page(result: Courses, page: int) -> tuple[list[int], int]:
    """The patients of a page, and how many pages there are."""
    everybody = sorted(result.table["patient"].unique().tolist())
    pages = max(1, -(-len(everybody) // MOST_ON_A_PAGE))
    if page not in range(1, pages + 1):
        raise ChoiceError(f'"{page}" is not a page of this figure. Choose from 1 to {pages}.')
    per_page = -(-len(everybody) // pages)
    return everybody[(page - 1) * per_page : page * per_page], pages


def _sections(result: Courses, patients: list[int]) -> tuple[Section, ...]:
    """A section for each group, or without groups for each outcome; n counts all of them, on whichever page."""
    course = result.table[result.table["what"] == "course"]
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
        sections=_sections(result, patients), marks=here, spans=lines[lines["patient"].isin(patients)],
        counts=here["look"].value_counts().to_dict(), until=until, remarks=tuple(filter(None, remarks)),
    )  # fmt: skip


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
        fig=sheet, alt=alternative(result, kind), data=course_lines(result, patients), redraw=redraw,
        caption=caption(result, *remarks, PRIVATE),
    )  # fmt: skip
