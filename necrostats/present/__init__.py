"""Three verbs that present any result: chart, table, words."""

from necrostats.present import (  # noqa: F401 (they register)
    courses,
    curves,
    estimates,
    listings,
    quarters,
    rates,
    say_curves,
    summaries,
    suppressed,
    trajectories,
    yield_robustness,
    yields,
)
from necrostats.present.case_series_texts import Abstract, abstract, reviewer_questions
from necrostats.present.documents import save_as, save_documents
from necrostats.present.figures import Figure, chart
from necrostats.present.tables import Table, table
from necrostats.present.wording import cautions, definition_list, methods_paragraph, words

__all__ = [
    "Abstract",
    "Figure",
    "Table",
    "abstract",
    "cautions",
    "chart",
    "definition_list",
    "methods_paragraph",
    "reviewer_questions",
    "save_as",
    "save_documents",
    "table",
    "words",
]
