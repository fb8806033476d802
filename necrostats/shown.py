"""HTML as a notebook shows it: legible by day and by night, words to the left and numbers to the right.

The style speaks only of what stands inside it. Colours are those of the notebook's own theme; where it has none, the
text takes the colour of the page around it, and lines a grey that shows on white and on black.
"""

from __future__ import annotations

ROOT = "necrostats"
HERE = f"div.{ROOT}.{ROOT}"
"""Twice, to count for more than the style of the notebook, which sets every cell of a table to the right."""

STYLE = f"""
{HERE} {{ --line: var(--jp-border-color1, #8884); --quiet: var(--jp-content-font-color2, inherit); }}
@media (prefers-color-scheme: dark) {{ {HERE} {{ --line: var(--jp-border-color1, #aaa6); }} }}
{HERE}, {HERE} table {{ color: var(--jp-content-font-color1, inherit); }}
{HERE} table {{ border-collapse: collapse; margin: 0 0 .6em; font-variant-numeric: tabular-nums; }}
{HERE} caption {{ caption-side: top; text-align: left; padding: 0 0 .4em; color: inherit; font-style: normal; }}
{HERE} table tr > th, {HERE} table tr > td {{
  text-align: left; vertical-align: top; padding: .25em 1em .25em 0; background: none; white-space: normal;
  max-width: 32em; border: 0 solid var(--line);
}}
{HERE} table tr > .number {{ text-align: right; white-space: nowrap; }}
{HERE} table thead tr > th {{ font-weight: 600; vertical-align: bottom; border-bottom-width: 2px; }}
{HERE} table thead tr > th.number {{ white-space: normal; }}
{HERE} table tbody tr > th {{ font-weight: 400; }}
{HERE} table tbody tr:nth-child(n) {{ background: none; }}
{HERE} table tbody tr + tr > * {{ border-top-width: 1px; }}
{HERE} table tbody + tbody > tr:first-child > * {{ border-top-width: 2px; }}
{HERE} p, {HERE} li, {HERE} figcaption, {HERE} caption {{ max-width: 46em; }}
{HERE} .table-notes, {HERE} figcaption {{ color: var(--quiet); }}
{HERE} figure {{ margin: .4em 0 .8em; }}
{HERE} figure > img {{ background: #fff; max-width: 100%; height: auto; }}
{HERE} figure > img.narrow {{ display: none; }}
{HERE} summary {{ cursor: pointer; }}
{HERE} .status, {HERE} .cautions {{ padding: .2em .8em; border-left: 3px solid #4a90c2; }}
"""


def framed(html: str) -> str:
    """Some HTML inside the frame that the style speaks of, with the style."""
    return f'<style>{STYLE}</style><div class="{ROOT}">{html}</div>'
