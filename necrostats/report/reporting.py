"""One template, one source, one HTML file.

Writing without harm: whole files or none, and nothing replaced unasked.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from necrostats.errors import ChoiceError, ReportError, SourceError
from necrostats.progress import Step
from necrostats.registry import periods
from necrostats.report import templates

SECONDS_A_CELL = 600
DOCUMENTS = "documents"
"""The parameter by which a template is told the folder of its documents."""

PLACES = (DOCUMENTS, "since", "targets")
"""The parameters that name a file or folder: a notebook runs elsewhere, and must find it."""
CASE_LIST = "case_list"

Say = Callable[[str], None]


def write_report(
    template: str,
    source: str | Path,
    *,
    folder: str | Path,
    period: str = "",
    layout: str | Path = "",
    accepted: Sequence[str] = (),
    parameters: Mapping[str, str] | None = None,
    documents: bool = False,
    cases: bool = False,
    show_code: bool = False,
    timeout: int = SECONDS_A_CELL,
    say: Say = lambda line: None,
) -> Path:
    """Run a template on a source and write `folder`/template_period.html; returns its path.

    `documents`: what the template writes besides (docx, xlsx, figures) goes beside the page. `cases`: the list of cases
    of the same period is written as a page of its own, for the unit alone.
    `timeout` is in seconds a cell; `say` is told each stage. Nothing is written unless every cell ran.
    ChoiceError for an unknown template, parameter or period, SourceError for a missing source, else ReportError.
    """
    chosen = templates.find(template)
    given = {"source": _absolute(source), **_named(period, layout, accepted), **(parameters or {})}
    given |= {name: str(Path(given[name]).resolve()) for name in PLACES if given.get(name)}
    values = templates.check_values(chosen, given)
    period = str(values.get("period", ""))
    if period:
        periods.parse(period)
    if documents and DOCUMENTS not in chosen.parameter_names:
        raise ChoiceError(f"{chosen.name} writes no documents. Leave --documents out, or take case_series_abstract.")
    out = ready(folder)
    running_it = f"running {chosen.name} on {Path(source).name}"
    say(Step(running_it, done=0, of=chosen.cells_of_code, units="cells"))
    from necrostats.report import exporting, running  # slow to import, and not needed to refuse a wrong request

    with running.private_folder() as beside:
        given = values | ({DOCUMENTS: str(beside)} if documents else {})
        notebook = running.run(chosen, given, timeout=timeout, say=say, what=running_it)
        say(Step(running_it, done=chosen.cells_of_code, of=chosen.cells_of_code, units="cells"))
        period = period or running.period_of(notebook)
        target = out / f"{_file_name(chosen.name, period)}.html"
        page = exporting.to_html(notebook, title=chosen.name, period=period, show_code=show_code)
        for made in sorted(beside.iterdir()):
            say(f"writing {target.with_name(made.name)}")
            write(made.read_bytes(), target.with_name(made.name))
    say(f"writing {target}")
    written = write(page.encode("utf-8"), target)
    if cases:
        write_report(
            CASE_LIST, source, folder=folder, period=period, layout=layout, accepted=accepted, timeout=timeout, say=say
        )
    return written


def _named(period: str, layout: str | Path, accepted: Sequence[str]) -> dict[str, str | list[str]]:
    """The parameters that were asked for, as a template takes them; the rest keep the template's own values."""
    given = {"period": period, "layout": _absolute(layout) if layout else "", "accepted": list(accepted)}
    return {name: value for name, value in given.items() if value}


def _absolute(source: str | Path) -> str:
    path = Path(source).resolve()
    if not path.exists():
        raise SourceError(f"There is no {source}. Name a folder of tidy csv files, or a workbook.")
    return str(path)


def _file_name(template: str, period: str) -> str:
    if not period:
        return template
    labels = periods.parse(period)
    return "_".join((template, "-".join(dict.fromkeys((labels[0], labels[-1])))))


def ready(folder: str | Path) -> Path:
    """The folder, made if it was not there; ReportError if it cannot be used."""
    path = Path(folder)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ReportError(f"{path} cannot be used as a folder ({error.strerror}). Choose another one.") from error
    if not os.access(path, os.W_OK):
        raise ReportError(f"{path} cannot be written to. Choose another folder.")
    return path


def write(content: bytes, path: Path) -> Path:
    """Write beside `path` and move into place, so that a run that dies leaves the old file; returns the path."""
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    except OSError as error:
        raise ReportError(f"{path} cannot be written ({error.strerror}). Choose another folder.") from error
    finally:
        beside.unlink(missing_ok=True)
    return path
