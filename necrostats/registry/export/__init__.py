"""Any unit's export, with a layout that says what its sheets and columns mean, as a registry."""

from __future__ import annotations
