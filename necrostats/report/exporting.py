"""A notebook with its outputs → one HTML page that opens offline, runs nothing and asks for nothing."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from pathlib import Path

import jinja2
import nbformat
from nbconvert import HTMLExporter

from necrostats.report.markup import Section, content

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
