"""Writing without harm: whole files or none, and nothing replaced unasked."""

from __future__ import annotations

import os
from pathlib import Path

from necrostats.errors import ReportError


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
