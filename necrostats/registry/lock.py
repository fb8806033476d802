"""A registry frozen for the next review: its tidy tables, and a manifest of what they were and what was made of them.

The manifest holds no calendar date: beside `observed_days`, that of the lock would give away every index drainage.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

from necrostats.errors import NecrostatsError, SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.tidying import written_to
from necrostats.registry.export.writing import Outputs, refuse_others
from necrostats.registry.loading import read_tidy
from necrostats.registry.messages import on_one_line
from necrostats.registry.reading import quietly
from necrostats.registry.tables import Registry

MANIFEST = "lock.json"
FORM = 1
"""The form of the manifest; one of another form is refused."""
_KEYS = ("necrostats", "data_lock", "periods", "patients", "definitions", "figures", "files", "sha256")

Figures = Mapping[str, Mapping[str, tuple[int, int]]]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Lock:
    """A lock as it was written: the registry, and what the manifest says of it.

    `necrostats` is the version that wrote it; `definitions` are the thresholds by name, `figures` the events and the
    denominator by indicator and quarter, both as they stood then.
    """

    registry: Registry
    folder: Path
    sha256: str
    necrostats: str
    periods: tuple[str, ...]
    definitions: Mapping[str, object]
    figures: Figures

    def __str__(self) -> str:
        held = str(self.registry).removeprefix("Registry: ").rsplit(", ", 1)[0]
        return f"Locked in {self.folder}: {held}.\nsha256 {self.sha256}"

    __repr__ = __str__


def write_lock(
    registry: Registry,
    folder: str | Path,
    *,
    definitions: Mapping[str, object],
    figures: Figures,
    say: Callable[[str], None] = quietly,
) -> tuple[Path, ...]:
    """The tables that the unit keeps, as `tidy` writes them, and the manifest; whole or not at all. The files written.

    The same registry gives the same bytes. NecrostatsError for a folder that holds anything: a lock is never replaced.
    """
    folder = refuse_used(folder)
    about = {
        "form": FORM,
        "necrostats": version("necrostats"),
        "data_lock": _data_lock(registry),
        "periods": list(registry.periods),
        "patients": len(registry.patients),
        "definitions": definitions,
        "figures": figures,
    }
    with written_to(folder), Outputs(folder, say, ours=()) as outputs:
        for name, table in TABLES.items():
            if name in registry.recorded.tables:
                outputs.add_table(table, registry.tables[name])
        return outputs.close(lambda written: {MANIFEST: _manifest(about, written)})


def refuse_used(folder: str | Path) -> Path:
    """The folder for a lock; NecrostatsError if it holds anything."""
    folder = Path(folder)
    if (folder / MANIFEST).exists():
        raise NecrostatsError(f"{folder} is a lock already, and a lock is never replaced. Give a new folder.")
    refuse_others(folder, ours=())
    return folder


def _data_lock(registry: Registry) -> dict[str, object]:
    """How far the registry reaches, without a date: its last period, and the days its patients were observed."""
    observed = registry.patients["observed_days"]
    return {
        "last_period": next(reversed(registry.periods), ""),
        "shortest_observed_days": int(observed.min()),
        "longest_observed_days": int(observed.max()),
    }


def _manifest(about: Mapping[str, object], written: Iterable[Path]) -> bytes:
    whole = {**about, "files": {path.name: _sha256(path) for path in written}}
    return _as_json({**whole, "sha256": _sha256_of(whole)})


def _as_json(manifest: Mapping[str, object]) -> bytes:
    return (json.dumps(manifest, indent=1, ensure_ascii=False) + "\n").encode()


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _sha256_of(manifest: Mapping[str, object]) -> str:
    """The hash of the whole lock: of all that the manifest says, the hash of each file with it."""
    said = {name: value for name, value in manifest.items() if name != "sha256"}
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def read_lock(folder: str | Path) -> Lock:
    """A lock, checked against its manifest.

    NecrostatsError, in one sentence with its remedy, if it is not whole, was changed after locking, or is of a form
    that this version cannot read; SourceError if it is not there.
    """
    folder = Path(folder)
    manifest = _read_manifest(folder)
    _refuse_changed(folder, manifest)
    return Lock(
        registry=read_tidy(folder, _columns_of_text()).registry,
        folder=folder,
        sha256=manifest["sha256"],
        necrostats=manifest["necrostats"],
        periods=tuple(manifest["periods"]),
        definitions=manifest["definitions"],
        figures={
            name: {quarter: (int(events), int(n)) for quarter, (events, n) in by_quarter.items()}
            for name, by_quarter in manifest["figures"].items()
        },
    )


def _columns_of_text() -> set[str]:
    """What stands in them passed the privacy check, or was accepted by a person, before it was locked."""
    return {column.name for table in TABLES.values() for column in table.columns if column.kind == "text"}


def _read_manifest(folder: Path) -> Mapping:
    if not folder.is_dir():
        raise SourceError(f"{folder} is not there, or is no folder. Give the folder that necrostats lock wrote.")
    path = folder / MANIFEST
    if not path.is_file():
        raise NecrostatsError(
            f"{folder} is no lock: it holds no {MANIFEST}. Give the folder that necrostats lock wrote."
        )
    try:
        manifest = json.loads(path.read_bytes())
    except (ValueError, OSError) as error:
        raise NecrostatsError(_changed(folder, f"{MANIFEST} cannot be read")) from error
    if not isinstance(manifest, dict) or manifest.get("form") != FORM:
        form = manifest.get("form") if isinstance(manifest, dict) else None
        raise NecrostatsError(
            f"{folder} was locked by another version of necrostats: its {MANIFEST} has form {_short(form)}, and this "
            f"version reads form {FORM}. Lock that registry again with this version."
        )
    if any(key not in manifest for key in _KEYS) or _sha256_of(manifest) != manifest["sha256"]:
        raise NecrostatsError(_changed(folder, f"{MANIFEST} is not as it was written"))
    return manifest


def _short(form: object) -> str:
    return str(form) if isinstance(form, int) else "unknown"


def _refuse_changed(folder: Path, manifest: Mapping) -> None:
    files = manifest["files"]
    if missing := [name for name in files if not (folder / name).is_file()]:
        raise NecrostatsError(_changed(folder, f"{missing[0]} is missing"))
    if changed := [name for name, sha256 in files.items() if _sha256(folder / name) != sha256]:
        raise NecrostatsError(_changed(folder, f"{changed[0]} was changed after it was locked"))
    others = sorted(each.name for each in folder.iterdir() if not each.name.startswith("."))
    if others := [name for name in others if name not in (*files, MANIFEST)]:
        raise NecrostatsError(_changed(folder, f"{on_one_line(others[0])} was not locked with it"))


def _changed(folder: Path, how: str) -> str:
    return f"The lock {folder} cannot be relied on: {how}. Put back the folder as it was locked, or give another lock."
