"""The headings of the wide sheet, as five people left them, and the columns that are not read."""

from __future__ import annotations

from messy_export.cells import IGNORED, NOT_MENTIONED
from messy_export.grid import Grid

Heading = tuple[str, str]
STUDY_NO, OLD_SCORE, REST, LAST_SEEN, COLOUR, REMARKS, STRAY = (
    ("", name) for name in ("Study  no", "score (old)", "DEN8+", "Last\nseen", "Colour of pus", "Remarks", "")
)
CODED = (
    ("sex", "Sex"),
    ("aetiology", "Étiologie\n(main)"),
    ("atlanta_severity", "Severity  (Atlanta)"),
    ("organ_failure", "OF"),
    ("infection", "Infected?"),
    ("nutrition", "Nutrition"),
    ("antithrombotic", "Anti-\nthrombotics"),
    ("duct", "Duct"),
)
BASELINE = ("Age\n(yrs)", "Onset", "ASA", *(label for _, label in CODED))
LABELS = (
    ("date", "tools", "yield\n(ml)", "texture", "compl."),
    ("Date", "TOOLS", "yield  (ml)", "Texture", "compl."),
    ("date ", "Tools", "Yield (ml)", "texture", "Compl."),
    ("dâte", "tools", "yield (ML)", "texture\n", "compl."),
)
COLLECTION, INDEX, LAMS = "Collection", "Index\ndrainage", "LAMS"
WIDE_COUNT = 7
REMARK_TEXTS = (
    "stent patent",
    "tough going",
    "pus ++",
    "for CT then repeat",
    "GOOD CLEARANCE",
    "ascites",
    "nil of note",
)
COLOURS = ("brown", "green", "grey", "bloody")


def labels(number: int) -> tuple[str, ...]:
    """The five headings of one session."""
    return LABELS[number % len(LABELS)]


def headings() -> list[Heading]:
    """The headings of the sheet in order: the group above, the column below."""
    sessions = [(f"DEN{number}", label) for number in range(1, WIDE_COUNT + 1) for label in labels(number)]
    return [
        STUDY_NO,
        OLD_SCORE,
        *(("Baseline", label) for label in BASELINE),
        *((COLLECTION, label) for label in ("Site(s)", "Size (cm)", "% solid")),
        *((INDEX, label) for label in ("date", "min", "operator", "compl.")),
        *((LAMS, label) for label in ("in", "out", "mm", "why out")),
        *sessions,
        REST,
        LAST_SEEN,
        COLOUR,
        REMARKS,
        STRAY,
    ]


def new_sheet() -> Grid:
    """The empty sheet, with its two lines of headings and the columns that are not read."""
    grid = Grid("DEN", headings(), top=2)
    grid.fates = {grid.columns[COLOUR]: NOT_MENTIONED, grid.columns[OLD_SCORE]: NOT_MENTIONED}
    grid.fates |= {grid.columns[REMARKS]: IGNORED, grid.columns[STRAY]: IGNORED}
    grid.hidden_columns.append(grid.columns[OLD_SCORE])
    return grid
