"""A folder to begin with: notebooks, an empty entry workbook, an example layout and the data dictionary."""

from __future__ import annotations

import re
from pathlib import Path

from necrostats import bundled
from necrostats.errors import ReportError
from necrostats.registry.entry_workbook import entry_workbook
from necrostats.registry.export.commands import example_layout
from necrostats.report import files, templates
from necrostats.report.dictionary import data_dictionary

ENTRY = "entry.xlsx"
DICTIONARY = "data_dictionary.html"
LAYOUT = "example_layout.toml"
_SOURCE = re.compile(r'^(\s*"source: str = )\\"[^"\\]*\\"', re.MULTILINE)


def start(folder: str | Path) -> tuple[Path, ...]:
    """Write the notebooks, the entry workbook, a commented layout and the data dictionary; returns their paths.

    The notebooks read the entry workbook. ReportError, with nothing written, if any of the files is there already.
    """
    target = Path(folder)
    contents = {f"{name}{templates.SUFFIX}": _notebook(name) for name in templates.bundled_names()}
    contents |= {
        ENTRY: entry_workbook(),
        DICTIONARY: data_dictionary().encode("utf-8"),
        LAYOUT: example_layout().encode("utf-8"),
    }
    there = [name for name in contents if (target / name).exists()]
    if there:
        raise ReportError(f"{target} already holds {', '.join(there)}. Choose another folder: nothing is replaced.")
    files.ready(target)
    return tuple(files.write(content, target / name) for name, content in contents.items())


def _notebook(name: str) -> bytes:
    text = (bundled.notebooks() / f"{name}{templates.SUFFIX}").read_text(encoding="utf-8")
    return _SOURCE.sub(rf'\1\\"{ENTRY}\\"', text, count=1).encode("utf-8")
