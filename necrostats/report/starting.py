"""A folder to begin with: notebooks, an empty entry workbook, an example layout, the data dictionary and guides.

The data dictionary as one HTML page, straight from the codebook; a page for each user; and a page of all measures made
from their docstrings.
"""

from __future__ import annotations

import importlib.resources
import inspect
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from html import escape
from pathlib import Path

from nbconvert.filters.markdown_mistune import IPythonRenderer, MarkdownWithMath

from necrostats import bundled, measures
from necrostats.definitions.adverse_events import EventWindow
from necrostats.definitions.indicators import INDICATORS
from necrostats.definitions.resolution import RESOLUTION_CATALOGUE, ResolutionDefinition
from necrostats.errors import ReportError
from necrostats.measures import CaseSeries
from necrostats.registry.codebook import TABLES, Column, Table
from necrostats.registry.entry_workbook import entry_workbook, scale_of
from necrostats.registry.export.tidying import example_layout, run_guide
from necrostats.report import reporting, templates
from necrostats.report.exporting import content, page

HEADERS = ("column", "kind", "unit", "codes or scale", "meaning")
KINDS = {
    "id": "study code",
    "ids": "study codes",
    "text": "text",
    "code": "code",
    "whole": "whole number",
    "number": "number",
    "yes_no": "yes / no",
    "day": "day",
    "period": "period",
}
LEAD = (
    "What each table of a registry holds. A blank cell means unknown; it never means no, none or 0. Every day is a "
    "whole number of days from the patient's index drainage (day 0; negative = before). Columns marked * are "
    "required. A day known only as a range has its last possible day in a further column, such as day_latest."
)


def data_dictionary() -> str:
    """The page: a section a table, a row a column."""
    tables = "".join(_section(table) for table in TABLES.values())
    inside = content(f"<h1>Data dictionary</h1><p>{escape(LEAD)}</p>{tables}", title="Data dictionary", cautions=False)
    return page(title=inside.title, body=inside.html, sections=inside.sections)


def _section(table: Table) -> str:
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in HEADERS)
    rows = "".join(_row(column) for column in table.columns)
    caption = f"<caption>{escape(table.name)}: one row is {escape(table.row)}</caption>"
    return f"<h2>{escape(table.name)}</h2><table>{caption}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _row(column: Column) -> str:
    name = f"{column.name}*" if column.required else column.name
    allowed = ", ".join(column.codes) or scale_of(column)
    cells = (KINDS[column.kind], column.unit, allowed, column.meaning)
    return f'<tr><th scope="row">{escape(name)}</th>' + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


ENTRY = "entry.xlsx"
DICTIONARY = "data_dictionary.html"
LAYOUT = "example_layout.toml"
GUIDE = "layout_guide.txt"
GUIDES = "guide"
_SOURCE = re.compile(r'^(\s*"source: str = )\\"[^"\\]*\\"', re.MULTILINE)


def start(folder: str | Path) -> tuple[Path, ...]:
    """Write the notebooks, the entry workbook, a layout, its guide, the data dictionary and the pages for each user.

    Returns their paths. The notebooks read the entry workbook. ReportError, with nothing written, if any of the files
    is there already.
    """
    target = Path(folder)
    contents = {f"{name}{templates.SUFFIX}": _notebook(name) for name in templates.bundled_names()}
    contents |= {
        ENTRY: entry_workbook(),
        DICTIONARY: data_dictionary().encode("utf-8"),
        LAYOUT: example_layout().encode("utf-8"),
        GUIDE: run_guide().encode("utf-8"),
        **{f"{GUIDES}/{name}.html": shown.encode("utf-8") for name, shown in guides().items()},
    }
    there = [name for name in contents if (target / name).exists()]
    if there:
        raise ReportError(f"{target} already holds {', '.join(there)}. Choose another folder: nothing is replaced.")
    reporting.ready(target / GUIDES)
    return tuple(reporting.write(content, target / name) for name, content in contents.items())


def _notebook(name: str) -> bytes:
    text = (bundled.notebooks() / f"{name}{templates.SUFFIX}").read_text(encoding="utf-8")
    return _SOURCE.sub(rf'\1\\"{ENTRY}\\"', text, count=1).encode("utf-8")


USERS = ("quality_lead", "fellow", "comparing_instruments", "data_manager")
MEASURES = "measures"
COUNTED, SOURCE = "Counted:", "Source:"
MEASURES_LEAD = (
    "Every figure that necrostats knows: the question, who or what is counted, what is meant by its words unless "
    "another definition is given, and where the method comes from. In a notebook, the name with a question mark shows "
    "the same."
)


def guides() -> dict[str, str]:
    """The pages by the name of their file, without its ending."""
    return {**{name: _guide(name) for name in USERS}, MEASURES: measures_page()}


def guide_text(user: str) -> str:
    """The text of a user's page, in markdown."""
    place = importlib.resources.files("necrostats.report") / "guides" / f"{user}.md"
    return place.read_text(encoding="utf-8")


def _guide(user: str) -> str:
    read = MarkdownWithMath(renderer=IPythonRenderer(escape=True, exclude_anchor_links=True))
    return _whole(read.render(guide_text(user)), user)


def _whole(html: str, name: str) -> str:
    inside = content(html, title=name)
    return page(title=inside.title, body=inside.html, sections=inside.sections)


@dataclass(frozen=True, kw_only=True)
class Described:
    """A measure as its docstring and its signature describe it."""

    name: str
    question: str
    more: str
    counted: str
    definition: str
    source: str


def described(name: str) -> Described:
    """A measure by its name."""
    function = getattr(measures, name)
    question, *rest = inspect.getdoc(function).split("\n\n")
    last = " ".join(rest[-1].split()) if rest else ""
    counted, source = re.fullmatch(f"{COUNTED} (.*) {SOURCE} (.*)", last).groups()
    return Described(
        name=name,
        question=" ".join(question.split()),
        more=" ".join(" ".join(rest[:-1]).split()),
        counted=counted,
        definition=_definition(function),
        source=source,
    )


def _definition(function: Callable) -> str:
    """What a measure means by its words unless another definition or window is given."""
    defaults = [each.default for each in inspect.signature(function).parameters.values()]
    named = [f"Resolved: {each.name}." for each in defaults if isinstance(each, ResolutionDefinition)]
    return " ".join(
        [*named, *(f"Adverse events: {each.sentence()}." for each in defaults if isinstance(each, EventWindow))]
    )


def names() -> tuple[str, ...]:
    """Every public measure, in alphabetical order."""
    return tuple(name for name in sorted(measures.__all__) if getattr(measures, name) is not CaseSeries)


def measures_page() -> str:
    """The page of all measures, with the definitions of resolution that may be named."""
    entries = "".join(_entry(described(name)) for name in names())
    definitions = _defined(
        (each.name, each.sentence(), each.reference or each.provenance) for each in RESOLUTION_CATALOGUE
    )
    indicators = _defined((each.name, each.sentence(), each.source) for each in INDICATORS)
    html = (
        f"<h1>All measures</h1><p>{escape(MEASURES_LEAD)}</p><h2>Measures</h2>{entries}"
        "<h2>Definitions of resolution</h2>"
        f'<p>By name, as definition="{escape(RESOLUTION_CATALOGUE[1].name)}", or in millimetres and days, as '
        f'definition="25 mm, 120 days".</p>{definitions}<h2>Indicators of the quarterly review</h2>{indicators}'
    )
    return _whole(html, MEASURES)


def _defined(entries: Iterable[tuple[str, str, str]]) -> str:
    """A list of names, each with its definition and its source."""
    each = (f"<dt>{escape(name)}</dt><dd>{escape(said)} {escape(source)}.</dd>" for name, said, source in entries)
    return f'<dl class="definitions">{"".join(each)}</dl>'


def _entry(measure: Described) -> str:
    lines = (
        ("Counted", measure.counted),
        ("Definition", measure.definition),
        ("Source", measure.source),
        ("More", measure.more),
    )
    shown = "".join(f"<dd><b>{name}.</b> {_with_code(text)}</dd>" for name, text in lines if text)
    question = f"<dt>{_with_code(measure.question)}</dt>"
    return f'<h3><code>{measure.name}</code></h3><dl class="definitions"><div>{question}{shown}</div></dl>'


def _with_code(text: str) -> str:
    """The text as HTML, what stands in backticks as code."""
    return re.sub("`([^`]+)`", r"<code>\1</code>", escape(text))
