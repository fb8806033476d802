"""A notebook with its outputs → one HTML page that opens offline, runs nothing and asks for nothing.

Its HTML is made safe to hand on: nothing that runs, nothing from outside, one h1, tables that can be read.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import jinja2
import nbformat
from bs4 import BeautifulSoup, NavigableString, Tag
from nbconvert import HTMLExporter

from necrostats.report.typography import CAUTIONS, SCROLL, WHOLE, ranges, tied

_PAGE = Path(__file__).resolve().parent / "page"


def to_html(notebook: nbformat.NotebookNode, *, title: str, period: str = "", show_code: bool = False) -> str:
    """The page of a notebook that has been run; `title` heads it if the notebook has no heading of its own."""
    exporter = HTMLExporter(
        template_name="cells",
        extra_template_basedirs=[str(_PAGE)],
        exclude_anchor_links=True,
        exclude_input=not show_code,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
    )
    cells, _ = exporter.from_notebook_node(notebook)
    inside = content(cells, title=title, period=period)
    return page(title=inside.title, body=inside.html, sections=inside.sections)


def page(*, title: str, body: str, sections: Sequence[Section] = ()) -> str:
    """The page around `body`: style sheet, Content-Security-Policy and list of sections."""
    style = (_PAGE / "page.css").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode("ascii")
    environment = jinja2.Environment(autoescape=True, keep_trailing_newline=True)
    shell = environment.from_string((_PAGE / "page.html.j2").read_text(encoding="utf-8"))
    return shell.render(title=title, body=body, sections=sections, style=style, style_hash=digest)


ACTIVE = (
    "script",
    "style",
    "link",
    "meta",
    "base",
    "iframe",
    "frame",
    "object",
    "embed",
    "applet",
    "form",
    "input",
    "button",
    "select",
    "textarea",
    "audio",
    "video",
    "source",
    "track",
    "template",
    "noscript",
)
DROPPED_ATTRIBUTES = ("style", "border", "align", "bgcolor", "srcset", "background", "formaction", "ping", "target")
_HAS_DIGIT = re.compile("[0-9]")
NO_ALT = "No description has been provided for this image"


@dataclass(frozen=True, kw_only=True)
class Section:
    """A second-level heading that the page's list of sections can point to."""

    id: str
    heading: str


@dataclass(frozen=True, kw_only=True)
class Content:
    """What goes into `main`: its title, its sections and its HTML."""

    title: str
    sections: tuple[Section, ...]
    html: str


def content(html: str, *, title: str, period: str = "", cautions: bool = True) -> Content:
    """The HTML of a notebook, cleaned; `title` heads it if it has no first-level heading of its own.

    The cautions are added if it does not show them itself.
    """
    soup = BeautifulSoup(html, features="html.parser")
    remove_active(soup)
    remove_outside(soup)
    heading = one_h1(soup, title, period)
    for table in soup.find_all("table"):
        make_readable(table)
    for figure in soup.find_all("figure"):
        _box_pictures(figure)
    keep_together(soup)
    if cautions and not soup.select_one(f".{CAUTIONS}"):
        soup.append(_cautions())
    sections = tuple(_sections(soup))
    _group(soup)
    return Content(title=heading, sections=sections, html=str(soup).strip())


def remove_active(soup: BeautifulSoup) -> None:
    """Take out whatever could run, load or restyle the page."""
    for tag in soup.find_all(ACTIVE):
        tag.decompose()
    for tag in soup.find_all(True):
        for name in [name for name in tag.attrs if name.startswith("on") or name in DROPPED_ATTRIBUTES]:
            del tag[name]


def remove_outside(soup: BeautifulSoup) -> None:
    """Turn links that leave the page into their text, and pictures that would be fetched into their description."""
    for link in soup.find_all(href=True):
        if not link["href"].startswith("#"):
            link.unwrap()
    for picture in soup.find_all(src=True):
        if not picture["src"].startswith("data:image/"):
            picture.replace_with(picture.get("alt", ""))
    for picture in soup.find_all("img", alt=False):
        picture["alt"] = NO_ALT


def one_h1(soup: BeautifulSoup, title: str, period: str) -> str:
    """Leave one h1, first, with the period in it; return its text."""
    first, *further = soup.find_all("h1") or [None]
    for heading in further:
        heading.name = "h2"
    if first is None:
        first = soup.new_tag("h1")
        first.string = title
    soup.insert(0, first.extract())
    if period and period not in first.get_text():
        first.append(f", {period}")
    return first.get_text().strip()


def make_readable(table: Tag) -> None:
    """Give every header cell its scope and let a wide table scroll inside a box of its own."""
    for header in table.find_all("th"):
        if not header.get("scope"):
            header["scope"] = "col" if header.find_parent("thead") else "row"
    if table.parent and SCROLL in table.parent.get("class", []):
        return
    if table.caption:
        _keep_in_view(table.caption)
    _box(table, table.caption.get_text(" ", strip=True) if table.caption else "Table")


def keep_together(soup: BeautifulSoup) -> None:
    """Keep a number and its per cent sign, and the two ends of a range, on one line."""
    for text in soup.find_all(string=_HAS_DIGIT):
        if type(text) is NavigableString and not text.find_parent(("pre", "code")):
            pieces = enumerate(ranges(tied(text)))
            text.replace_with(*(_whole(piece) if place % 2 else piece for place, piece in pieces if piece))


def _whole(text: str) -> Tag:
    """A span that no line break parts."""
    span = _new("span")
    span["class"], span.string = WHOLE, text
    return span


def _box(tag: Tag, name: str) -> None:
    """A box that scrolls by itself, and can be reached by keyboard, around something wide."""
    box = tag.wrap(_new("div"))
    box["class"], box["role"], box["tabindex"], box["aria-label"] = SCROLL, "region", "0", name


def _box_pictures(figure: Tag) -> None:
    """One box for the picture of a figure and the same for a narrow screen, named after the caption."""
    pictures = figure.find_all("img", recursive=False)
    if pictures:
        said = figure.figcaption.get_text(" ", strip=True).partition(". ")[0] if figure.figcaption else ""
        _box(pictures[0], f"Figure: {said}" if said else "Figure")
        for further in pictures[1:]:
            pictures[0].insert_after(further.extract())


def _keep_in_view(caption: Tag) -> None:
    """Put the text of a caption into a span of its own, which stays in view while the table scrolls under it."""
    inside = list(caption.contents)
    caption.append(_new("span"))
    caption.span.extend(inside)


def _new(name: str) -> Tag:
    return BeautifulSoup("", "html.parser").new_tag(name)


def _cautions() -> BeautifulSoup:
    from necrostats.report.prose import cautions  # imports the drawing library, which few pages need here

    return BeautifulSoup(cautions().html, features="html.parser")


def _sections(soup: BeautifulSoup) -> Iterator[Section]:
    for place, heading in enumerate(soup.find_all("h2"), start=1):
        heading["id"] = f"section-{place}"
        yield Section(id=heading["id"], heading=heading.get_text().strip())


def _group(soup: BeautifulSoup) -> None:
    """Put each h2 and what follows it into a section of its own."""
    for heading in soup.find_all("h2", recursive=False):
        section = soup.new_tag("section")
        section["aria-labelledby"] = heading["id"]
        heading.insert_before(section)
        following = []
        for part in section.next_siblings:
            if part is not heading and isinstance(part, Tag) and part.name == "h2":
                break
            following.append(part)
        section.extend(following)
