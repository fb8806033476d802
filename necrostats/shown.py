"""HTML as a notebook shows it: legible by day and by night, words to the left and numbers to the right.

The style speaks only of what stands inside it. Colours are those of the notebook's own theme; where it has none, the
text takes the colour of the page around it, and lines a grey that shows on white and on black.
"""

from __future__ import annotations

ROOT = "necrostats"

STYLE = f"""
div.{ROOT} {{ --line: var(--jp-border-color1, #8884); --quiet: var(--jp-content-font-color2, inherit); }}
@media (prefers-color-scheme: dark) {{ div.{ROOT} {{ --line: var(--jp-border-color1, #aaa6); }} }}
div.{ROOT}, div.{ROOT} table {{ color: var(--jp-content-font-color1, inherit); }}
div.{ROOT} table {{ border-collapse: collapse; margin: 0 0 .6em; font-variant-numeric: tabular-nums; }}
div.{ROOT} caption {{ caption-side: top; text-align: left; padding: 0 0 .4em; color: inherit; font-style: normal; }}
div.{ROOT} table tr > th, div.{ROOT} table tr > td {{
  text-align: left; vertical-align: top; padding: .25em 1em .25em 0; background: none; white-space: normal;
  max-width: 32em; border: 0 solid var(--line);
}}
div.{ROOT} table tr > .number {{ text-align: right; white-space: nowrap; }}
div.{ROOT} table thead tr > th {{ font-weight: 600; vertical-align: bottom; border-bottom-width: 2px; }}
div.{ROOT} table thead tr > th.number {{ white-space: normal; }}
div.{ROOT} table tbody tr > th {{ font-weight: 400; }}
div.{ROOT} table tbody tr:nth-child(n) {{ background: none; }}
div.{ROOT} table tbody tr + tr > * {{ border-top-width: 1px; }}
div.{ROOT} table tbody + tbody > tr:first-child > * {{ border-top-width: 2px; }}
div.{ROOT} p, div.{ROOT} li, div.{ROOT} figcaption, div.{ROOT} caption {{ max-width: 46em; }}
div.{ROOT} .table-notes, div.{ROOT} figcaption {{ color: var(--quiet); }}
div.{ROOT} figure {{ margin: .4em 0 .8em; }}
div.{ROOT} figure > img {{ background: #fff; max-width: 100%; height: auto; }}
div.{ROOT} summary {{ cursor: pointer; }}
div.{ROOT} .status, div.{ROOT} .cautions {{ padding: .2em .8em; border-left: 3px solid #4a90c2; }}
"""


def framed(html: str) -> str:
    """Some HTML inside the frame that the style speaks of, with the style."""
    return f'<style>{STYLE}</style><div class="{ROOT}">{html}</div>'
