"""Three verbs that present any result: chart, table, words."""

from necrostats.present import (  # noqa: F401 (they register)
    courses,
    curves,
    estimates,
    listings,
    overlap_drawing,
    quarters,
    rates,
    say_curves,
    specification_drawing,
    summaries,
    tabulations,
    trajectories,
    unanswered,
    yields,
)
from necrostats.present.figures import Figure, chart
from necrostats.present.tables import Table, table
from necrostats.present.wording import cautions, definition_list, methods_paragraph, words

__all__ = [
    "Figure",
    "Table",
    "cautions",
    "chart",
    "definition_list",
    "methods_paragraph",
    "table",
    "words",
]
