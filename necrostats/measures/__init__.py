"""One clinical question a function: a Registry in, a Result out."""

from necrostats.measures.abstract import CaseSeries, case_series, inclusion_flow, reporting_checklist
from necrostats.measures.adverse_event_comparisons import compare_adverse_events
from necrostats.measures.adverse_event_grades import adverse_event_cases, complication_index, event_grades, worst_grades
from necrostats.measures.adverse_events import adverse_event_rates
from necrostats.measures.benchmarks import against_published
from necrostats.measures.between_scans import interval_censored_resolution, parametric_resolution
from necrostats.measures.case_mix import activity, case_mix, collection_volumes, data_completeness
from necrostats.measures.committee import committee_figures
from necrostats.measures.course_ends import case_listing, course_ends, deaths, necrosectomies_a_patient
from necrostats.measures.courses import patient_courses
from necrostats.measures.data_tasks import data_tasks, open_cases
from necrostats.measures.debridement import debridement_yield
from necrostats.measures.instrument_events import adverse_events_by_class
from necrostats.measures.instrument_use import landmark_resolution, resolution_after_use, resolution_by_stent
from necrostats.measures.late_events import late_events
from necrostats.measures.quarters import quarter_verdicts
from necrostats.measures.resolution import session_states, sessions_to_resolution, time_to_resolution
from necrostats.measures.resolution_comparison import compare_resolution
from necrostats.measures.resolution_models import resolution_models, session_regression
from necrostats.measures.resolution_sensitivity import collection_resolution, sensitivity
from necrostats.measures.restatement import restatement
from necrostats.measures.restricted_resolution import bootstrap_resolution, restricted_mean_resolution
from necrostats.measures.scan_schedule import scan_schedule
from necrostats.measures.slow_changes import slow_changes
from necrostats.measures.survival import event_free_survival, follow_up, recurrence, time_to_first_event
from necrostats.measures.traps import competing_ends_trap, ever_used_trap, naive_mean_sessions
from necrostats.measures.watched_quarters import watched_quarters
from necrostats.measures.yield_answer import attribution_sensitivity, precision_plan, yield_answer
from necrostats.measures.yield_comparison import compare_yield
from necrostats.measures.yield_overlap import instrument_combinations, yield_overlap

__all__ = [
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
]
