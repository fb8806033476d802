"""Three verbs that present any result: chart, tabulate, describe."""

from necrostats.present import (  # noqa: F401 (they register)
    courses,
    curves,
    distributions,
    estimates,
    intervals,
    listings,
    tabulations,
    trajectories,
)
from necrostats.present.figures import Figure, chart
from necrostats.present.tables import Table, tabulate
from necrostats.present.wording import cautions, definition_list, describe, methods_paragraph

__all__ = [
    "Figure", "Table", "cautions", "chart", "definition_list", "describe", "methods_paragraph", "tabulate",
]  # fmt: skip
