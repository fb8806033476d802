"""Finds the notebooks and the invented registry that travel with the package."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def _bundled(name: str) -> Path:
    """In a wheel the folder lies inside the package; in an editable install it lies beside it."""
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def notebooks() -> Path:
    """The folder of template notebooks."""
    return _bundled("notebooks")


def synthetic_registry() -> Path:
    """The folder of the invented registry."""
    return _bundled("synthetic_registry")
