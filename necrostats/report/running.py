"""Runs a template on its own kernel, out of reach of the network and of the user's home."""

from __future__ import annotations

import itertools
import logging
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import nbformat
import papermill
import zmq
from jupyter_client import AsyncKernelManager
from jupyter_client.kernelspec import KernelSpec
from nbclient.exceptions import CellTimeoutError, DeadKernelError
from papermill.exceptions import PapermillExecutionError

from necrostats import errors
from necrostats.errors import ReportError
from necrostats.progress import Step
from necrostats.report.overview import PERIOD_OF
from necrostats.report.templates import Template, is_tagged

Say = Callable[[str], None]
INJECTED = "injected-parameters"
KERNEL_NAME = "python3"
_SOCKET_NAME_LENGTH = len("/kernel-ipc-99999")


def run(
    template: Template, values: Mapping[str, object], *, timeout: int, say: Say = lambda line: None, what: str = ""
) -> nbformat.NotebookNode:
    """The template's notebook with its outputs, run with `values`; `timeout` is in seconds a cell.

    `say` is told before each cell of code which of how many it is, in the words of `what`.
    ReportError if a cell fails: its text is that of the NecrostatsError raised there, or names the cell's error.
    """
    with private_folder() as folder, _without_its_log():
        try:
            notebook = papermill.execute_notebook(
                template.notebook,
                None,
                parameters=dict(values),
                kernel_name=KERNEL_NAME,
                language="python",
                progress_bar=False,
                cwd=folder,
                execution_timeout=timeout,
                kernel_manager_class=_kernel_manager(folder),
                on_cell_start=_counting(template, say, what),
            )
        except PapermillExecutionError as error:
            raise ReportError(_what_failed(error, template.name)) from error
        except CellTimeoutError as error:
            raise ReportError(
                f"{template.name}: a cell ran for more than {timeout:,} seconds and was stopped. "
                "Allow more time with --timeout, or report on fewer periods."
            ) from error
        except (DeadKernelError, RuntimeError) as error:
            raise ReportError(f"{template.name}: Python stopped while it ran.{_last_words(folder)}") from error
    return scrubbed(notebook)


def _counting(template: Template, say: Say, what: str) -> Callable[..., None]:
    """Told when a cell begins: says how many cells of code are behind it. papermill puts one in, with the values."""
    begun = itertools.count()

    def begins(cell: nbformat.NotebookNode, cell_index: int) -> None:
        if cell.cell_type == "code" and not is_tagged(cell, INJECTED):
            say(Step(what, done=next(begun), of=template.cells_of_code, units="cells"))

    return begins


def period_of(notebook: nbformat.NotebookNode) -> str:
    """The period under review, as the status line of a notebook that has been run tells it; "" where none does."""
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    told = [output.metadata[PERIOD_OF] for output in outputs if PERIOD_OF in output.get("metadata", {})]
    return str(told[0]) if told else ""


def scrubbed(notebook: nbformat.NotebookNode) -> nbformat.NotebookNode:
    """The notebook without what a run leaves in it: paths, times, values of parameters, execution counts."""
    kept = nbformat.from_dict(notebook)
    kept.cells = [cell for cell in kept.cells if not is_tagged(cell, INJECTED)]
    kept.metadata.pop("papermill", None)
    for cell in kept.cells:
        for left in ("papermill", "execution"):
            cell.metadata.pop(left, None)
        if cell.cell_type == "code":
            cell.execution_count = None
            for output in cell.outputs:
                if "execution_count" in output:
                    output.execution_count = None
    return kept


@contextmanager
def _without_its_log() -> Iterator[None]:
    """Keep papermill from warning of parameters: they have been checked, and more strictly."""

    log, nowhere = logging.getLogger("papermill"), logging.NullHandler()
    passed_on = log.propagate
    log.addHandler(nowhere)
    log.propagate = False
    try:
        yield
    finally:
        log.propagate = passed_on
        log.removeHandler(nowhere)


def _what_failed(error: PapermillExecutionError, name: str) -> str:
    raised = getattr(errors, error.ename, None)
    if isinstance(raised, type) and issubclass(raised, errors.NecrostatsError):
        return error.evalue
    first_line = error.source.strip().splitlines()[0]
    said = f"{error.ename}: {error.evalue}" if error.evalue else error.ename
    return f'{name}: the cell that begins "{first_line}" failed with {said}.'


@contextmanager
def private_folder() -> Iterator[Path]:
    """A temporary folder that only this user can open, removed afterwards; short enough for a socket's name."""
    room = zmq.IPC_PATH_MAX_LEN - _SOCKET_NAME_LENGTH
    usual = tempfile.gettempdir()
    base = usual if len(usual) + len("/necrostats-12345678") <= room or os.name == "nt" else "/tmp"
    folder = Path(tempfile.mkdtemp(prefix="necrostats-", dir=base))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _kernel_manager(folder: Path) -> type[AsyncKernelManager]:
    """A manager whose kernel is this interpreter, reached through sockets in `folder`."""

    class PrivateKernelManager(AsyncKernelManager):
        kernel_spec = KernelSpec(
            argv=[sys.executable, "-Xfrozen_modules=off", "-m", "ipykernel_launcher", "-f", "{connection_file}"],
            display_name="necrostats",
            language="python",
        )

        def __init__(self, **options):
            super().__init__(**options)
            self.connection_file = str(folder / "kernel.json")
            self.transport = "tcp" if os.name == "nt" else "ipc"

        async def start_kernel(self, **options):
            with (folder / "kernel.log").open("wb") as log:
                await super().start_kernel(
                    **{**options, "env": _environment(folder), "stdout": subprocess.DEVNULL, "stderr": log}
                )

    return PrivateKernelManager


def _environment(folder: Path) -> dict[str, str]:
    """The environment of the kernel: whatever would write to the user's home writes to `folder`."""
    settings = {
        "IPYTHONDIR": folder / "ipython",
        "JUPYTER_CONFIG_DIR": folder / "jupyter",
        "JUPYTER_DATA_DIR": folder / "jupyter",
        "JUPYTER_RUNTIME_DIR": folder,
        "MPLCONFIGDIR": _font_list(folder / "matplotlib"),
        "MPLBACKEND": "agg",
        "PYTHONHASHSEED": "0",
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    return {**os.environ, **{name: str(value) for name, value in settings.items()}}


def _font_list(folder: Path) -> Path:
    """`folder`, with a copy of the list of fonts that matplotlib may already have made for this user."""
    folder.mkdir()
    caches = (Path(os.environ.get("XDG_CACHE_HOME") or "~/.cache") / "matplotlib", Path("~/.matplotlib"))
    for made in (path for cache in caches for path in cache.expanduser().glob("fontlist-*.json")):
        shutil.copyfile(made, folder / made.name)
    return folder


def _last_words(folder: Path) -> str:
    lines = (folder / "kernel.log").read_text(errors="replace").strip().splitlines()
    return f" Its last words: {lines[-1]}" if lines else " The machine may have run out of memory."
