"""necrostats: sessions, time, adverse events and yield of endoscopic necrosectomy, from a registry to a review.

Every public name is here; each is imported when it is first asked for, so that `import necrostats` costs nothing.
A public function that is asked wrongly answers in one line, with what to do.
"""

from __future__ import annotations

import importlib
import types

_HOMES = {
    "registry.loading": ("read_registry",),
    "registry.tables": ("Registry", "registry_from"),
    "results": (
        "Answer",
        "Comparison",
        "Courses",
        "Curves",
        "Estimates",
        "Listing",
        "Method",
        "Note",
        "Overlap",
        "Population",
        "Quarters",
        "Rates",
        "Restatement",
        "Result",
        "Specifications",
        "Statements",
        "Summary",
        "Suppressed",
        "Trajectories",
        "Unanswered",
        "YieldComparison",
    ),
    "definitions.attribution": ("AttributionRule",),
    "definitions.indicators": ("Target", "targets_from"),
    "definitions.resolution": ("ResolutionDefinition",),
    "measures": (
        "CaseSeries",
        "activity",
        "adverse_event_cases",
        "adverse_event_rates",
        "adverse_events_by_class",
        "against_published",
        "attribution_sensitivity",
        "bootstrap_resolution",
        "case_listing",
        "case_mix",
        "case_series",
        "collection_resolution",
        "collection_volumes",
        "committee_figures",
        "compare_adverse_events",
        "compare_resolution",
        "compare_yield",
        "competing_ends_trap",
        "complication_index",
        "course_ends",
        "data_completeness",
        "data_tasks",
        "deaths",
        "debridement_yield",
        "event_free_survival",
        "event_grades",
        "ever_used_trap",
        "follow_up",
        "inclusion_flow",
        "instrument_combinations",
        "interval_censored_resolution",
        "landmark_resolution",
        "late_events",
        "naive_mean_sessions",
        "necrosectomies_a_patient",
        "open_cases",
        "parametric_resolution",
        "patient_courses",
        "precision_plan",
        "quarter_verdicts",
        "recurrence",
        "reporting_checklist",
        "resolution_after_use",
        "resolution_by_stent",
        "resolution_models",
        "restatement",
        "restricted_mean_resolution",
        "scan_schedule",
        "sensitivity",
        "session_regression",
        "session_states",
        "sessions_to_resolution",
        "slow_changes",
        "time_to_first_event",
        "time_to_resolution",
        "watched_quarters",
        "worst_grades",
        "yield_answer",
        "yield_overlap",
    ),
    "measures.frames": ("session_frame", "survival_frame"),
    "measures.locking": ("lock_registry",),
    "stats.reported": ("check_reported",),
    "present": (
        "Abstract",
        "abstract",
        "chart",
        "reviewer_questions",
        "save_as",
        "save_documents",
        "table",
        "words",
    ),
    "report.draft_checking": ("DraftCheck", "check_draft"),
    "report.overview": (
        "count_findings",
        "list_findings",
        "list_set_aside",
        "review_period",
        "status",
        "what_was_read",
    ),
    "report.prose": ("cautions", "definitions_used", "lead", "methods"),
    "report.reporting": ("write_report",),
    "errors": ("NecrostatsError",),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = sorted(_HOME_OF)


def __getattr__(name: str):
    if name == "__version__":
        return importlib.import_module("importlib.metadata").version("necrostats")
    if name not in _HOME_OF:
        raise AttributeError(f"necrostats has no {name!r}")
    value = getattr(importlib.import_module(f"necrostats.{_HOME_OF[name]}"), name)
    if isinstance(value, types.FunctionType):
        value = importlib.import_module("necrostats.measures.arguments").answering(value)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
