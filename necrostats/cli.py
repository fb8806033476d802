"""The command line: reads the request, then hands it on."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from necrostats.completion import SHELLS, script
from necrostats.progress import Progress

DONE, FAILED, MISUSE, INTERRUPTED, PIPE_CLOSED = 0, 1, 2, 130, 141


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with a request in one line."""

    def error(self, message: str):
        self.exit(MISUSE, f'necrostats: {message} ("{self.prog} --help" lists what can be asked)\n')


def parser() -> argparse.ArgumentParser:
    """The parser of every command."""
    shared = _Parser(add_help=False)
    shared.add_argument(
        "--verbose", action="store_true", default=argparse.SUPPRESS, help="show the whole traceback of an error"
    )
    top = _Parser(
        prog="necrostats",
        parents=[shared],
        description="Figures for the review of an endoscopic necrosectomy service, from its registry. "
        "For review, research and teaching; not for decisions about one patient.",
    )
    top.add_argument("--version", action="store_true", help="say which version this is")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    for add in (
        _add_check,
        _add_tidy,
        _add_lock,
        _add_report,
        _add_start,
        _add_draft_layout,
        _add_layout_guide,
        _add_completion,
    ):
        add(commands, shared)
    return top


def _add_check(commands, shared: argparse.ArgumentParser) -> None:
    check = commands.add_parser(
        "check",
        parents=[shared],
        help="say what is wrong with a registry, and where",
        description="Reads a registry and lists what it found. Exit code: 0 nothing that stops, 1 findings that "
        "stop, 2 the source cannot be read.",
    )
    _add_source(check)
    check.add_argument("--all", action="store_true", help="list every finding, not the first of each kind")
    check.add_argument(
        "--to",
        default="",
        metavar="FOLDER",
        help="also write findings.xlsx there, to filter; dates are then shown nowhere",
    )
    check.set_defaults(run=_check)


def _add_report(commands, shared: argparse.ArgumentParser) -> None:
    report = commands.add_parser(
        "report",
        parents=[shared],
        help="run a template on a registry and write one HTML file",
        description="Runs a template notebook on a registry and writes one HTML file that opens offline.",
    )
    report.add_argument("template", metavar="TEMPLATE", help="the name of a bundled template, or a path to an .ipynb")
    _add_source(report)
    report.add_argument("--out", required=True, metavar="FOLDER", help="where the HTML file goes")
    report.add_argument("--period", default="", help="a quarter (2026Q3) or several (2025Q4..2026Q3)")
    report.add_argument(
        "--param", action="append", default=[], metavar="NAME=VALUE", type=_pair, help="a further parameter"
    )
    report.add_argument(
        "--documents", action="store_true", help="also write the abstract as docx, the results as xlsx, and the figure"
    )
    report.add_argument(
        "--cases", action="store_true", help="also write the list of cases as a page of its own, for the unit alone"
    )
    report.add_argument("--show-code", action="store_true", help="show the code of each cell")
    report.add_argument(
        "--timeout", type=_seconds, default=600, metavar="SECONDS", help="the longest a cell may run (600)"
    )
    report.set_defaults(run=_report)


def _add_start(commands, shared: argparse.ArgumentParser) -> None:
    start = commands.add_parser(
        "start",
        parents=[shared],
        help="make a folder with notebooks, an entry workbook and the data dictionary",
        description="Makes a folder to begin with: the template notebooks, an empty entry workbook and the data "
        "dictionary. Replaces nothing.",
    )
    start.add_argument("folder", metavar="FOLDER", help="the folder to make or fill")
    start.set_defaults(run=_start)


def _add_tidy(commands, shared: argparse.ArgumentParser) -> None:
    tidy = commands.add_parser(
        "tidy",
        parents=[shared],
        help="turn an export into tidy tables, with a ledger of every reading",
        description="Reads an export by its layout, or our own nine tables however they were typed, and writes the "
        "tables clean, a ledger of every cell that was read, what was set aside and every finding. Exit code: 0 "
        "nothing that stops, 1 findings that stop, 2 the source or the layout cannot be read.",
    )
    tidy.add_argument("source", metavar="SOURCE", help="the export: a workbook, a csv file, or a folder of csv files")
    tidy.add_argument(
        "--layout", default="", metavar="FILE", help="the layout of the export (.toml); none for our own nine tables"
    )
    tidy.add_argument("--to", required=True, metavar="FOLDER", help="where the tidy tables go")
    tidy.add_argument("--all", action="store_true", help="list every finding, not the first of each kind")
    _add_accept(tidy)
    tidy.set_defaults(run=_tidy)


def _add_lock(commands, shared: argparse.ArgumentParser) -> None:
    lock = commands.add_parser(
        "lock",
        parents=[shared],
        help="freeze a registry for the next review to compare with",
        description="Writes the tidy tables of a registry to a new folder, with a manifest: their hashes, the "
        "definitions, and every indicator as it stands. The next review says which figures changed since, and why.",
    )
    _add_source(lock)
    lock.add_argument("--to", required=True, metavar="FOLDER", help="a new folder, which becomes the lock")
    lock.set_defaults(run=_lock)


def _add_draft_layout(commands, shared: argparse.ArgumentParser) -> None:
    draft = commands.add_parser(
        "draft-layout",
        parents=[shared],
        help="propose a layout for an export, every guess marked as one",
        description="Prints a layout proposed from the headings and contents of an export. Every guess is marked; "
        "correct it before you use it.",
    )
    draft.add_argument("source", metavar="EXPORT", help="a workbook, a csv file, or a folder of csv files")
    _add_accept(draft)
    draft.set_defaults(run=_draft_layout)


def _add_layout_guide(commands, shared: argparse.ArgumentParser) -> None:
    guide = commands.add_parser(
        "layout-guide",
        parents=[shared],
        help="print every key and target of a layout, with an example each",
        description="Prints the reference of a layout: its keys, the targets of its columns, and an example of each.",
    )
    guide.set_defaults(run=_layout_guide)


def _add_completion(commands, shared: argparse.ArgumentParser) -> None:
    completion = commands.add_parser(
        "completion",
        parents=[shared],
        help="print a script that completes commands and options in a shell",
        description="Prints a completion script; its first lines say where to keep it.",
    )
    completion.add_argument("shell", choices=SHELLS, help="the shell that is used")
    completion.set_defaults(run=_completion)


def _add_source(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "source", metavar="SOURCE", help="a folder of tidy csv files, a workbook, or with --layout any export"
    )
    command.add_argument("--layout", default="", metavar="FILE", help="the layout of an untidy export (.toml)")
    _add_accept(command)


def _add_accept(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--accept",
        action="append",
        default=[],
        metavar="COLUMN",
        help="a column that a person has looked at and found nobody named in (may be given again)",
    )


def _pair(text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not (sign and name):
        raise argparse.ArgumentTypeError(f'"{text}" is not of the form NAME=VALUE')
    return name, value


def _seconds(text: str) -> int:
    if not text.isdecimal() or not 0 < int(text) < 1_000_000:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of seconds, 1 or more')
    return int(text)


def _check(request: argparse.Namespace) -> int:
    from necrostats.errors import RegistryError
    from necrostats.registry.entry_workbook import entry_layout_of
    from necrostats.registry.export.about import counts_of
    from necrostats.registry.export.loading import read_with_layout
    from necrostats.registry.export.tidying import status_line
    from necrostats.registry.loading import read_registry
    from necrostats.registry.messages import check_report, stops

    try:
        if layout := request.layout or entry_layout_of(request.source):
            shown = not request.to
            found = read_with_layout(request.source, layout, accepted=request.accept, dates_shown=shown)
            checked = found.registry
            print(status_line(counts_of(found.material), checked.set_aside))
        else:
            checked = read_registry(request.source, accepted=request.accept)
    except RegistryError as error:
        checked = error
    print(check_report(checked, Path(request.source).resolve().name, every=request.all))
    if request.to:
        request.say(f"writing {_findings_to(Path(request.to), checked)}")
    return FAILED if isinstance(checked, RegistryError) or stops(checked) else DONE


def _findings_to(folder: Path, checked) -> Path:
    from necrostats.registry.messages import FINDINGS_WORKBOOK, findings_workbook
    from necrostats.report import reporting

    reporting.ready(folder)
    return reporting.write(findings_workbook(checked.findings), folder / FINDINGS_WORKBOOK)


def _tidy(request: argparse.Namespace) -> int:
    from necrostats.registry.export.tidying import run_tidy

    report, stopped = run_tidy(
        request.source, request.layout, request.to, accepted=request.accept, say=request.say, every=request.all
    )
    print(report)
    return FAILED if stopped else DONE


def _lock(request: argparse.Namespace) -> int:
    from necrostats.measures.locking import lock_registry

    made = lock_registry(
        request.source, request.to, layout=request.layout or None, accepted=request.accept, say=request.say
    )
    print(made)
    return DONE


def _draft_layout(request: argparse.Namespace) -> int:
    from necrostats.registry.export.tidying import run_draft

    print(run_draft(request.source, request.accept))
    return DONE


def _layout_guide(request: argparse.Namespace) -> int:
    from necrostats.registry.export.tidying import run_guide

    print(run_guide())
    return DONE


def _completion(request: argparse.Namespace) -> int:
    from necrostats import bundled

    templates = sorted(path.stem for path in bundled.notebooks().glob("*.ipynb"))
    print(script(request.shell, parser(), {"report": templates, "completion": SHELLS}), end="")
    return DONE


def _report(request: argparse.Namespace) -> int:
    from necrostats.report.reporting import write_report

    write_report(
        request.template,
        request.source,
        folder=request.out,
        period=request.period,
        layout=request.layout,
        accepted=request.accept,
        parameters=dict(request.param),
        documents=request.documents,
        cases=request.cases,
        show_code=request.show_code,
        timeout=request.timeout,
        say=request.say,
    )
    return DONE


def _start(request: argparse.Namespace) -> int:
    from necrostats.report.starting import start

    for path in start(request.folder):
        print(path)
    return DONE


def _version(request: argparse.Namespace) -> int:
    from necrostats import __version__

    print(f"necrostats {__version__}")
    return DONE


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    top = parser()
    request = top.parse_args(arguments)
    if request.version:
        request.run = _version
    elif request.command is None:
        top.print_help(sys.stderr)
        return MISUSE
    request.say = Progress(sys.stderr)
    try:
        for stream in (sys.stdout, sys.stderr):
            stream.reconfigure(errors="backslashreplace")
        code = request.run(request)
        request.say.close()
        sys.stdout.flush()
        return code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return PIPE_CLOSED
    except KeyboardInterrupt:
        request.say("stopped.")
        return INTERRUPTED
    except Exception as error:
        request.say.close()
        return _explain(error, request.say, verbose=getattr(request, "verbose", False))


def _explain(error: Exception, say: Progress, *, verbose: bool) -> int:
    from necrostats.errors import ChoiceError, NecrostatsError, RegistryError, SourceError

    if verbose:
        import traceback

        traceback.print_exception(error)
    if isinstance(error, NecrostatsError):
        say(str(error))
        return MISUSE if isinstance(error, ChoiceError | SourceError | RegistryError) else FAILED
    say(f"something went wrong that should not have ({type(error).__name__}: {error}). --verbose shows where.")
    return FAILED


if __name__ == "__main__":
    raise SystemExit(main())
