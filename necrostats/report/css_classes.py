"""Class names that both the notebooks' output and the page's style sheet know."""

from __future__ import annotations

CAUTIONS = "cautions"
LEAD = "lead"
SCROLL = "scroll"
STATUS = "status"
WHOLE = "whole"
