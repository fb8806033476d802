"""One clinical question a function: a Registry in, a Result out."""

from necrostats.measures.adverse_event_burden import complication_index
from necrostats.measures.adverse_event_cases import adverse_event_cases
from necrostats.measures.adverse_event_comparisons import compare_adverse_events
from necrostats.measures.adverse_event_grades import event_grades, worst_grades
from necrostats.measures.adverse_event_times import time_to_first_event
from necrostats.measures.adverse_events import adverse_event_rates
from necrostats.measures.case_mix import activity, case_mix
from necrostats.measures.completeness import data_completeness
from necrostats.measures.courses import patient_courses
from necrostats.measures.debridement import debridement_yield
from necrostats.measures.resolution import time_to_resolution
from necrostats.measures.sessions import sessions_to_resolution
from necrostats.measures.volumes import collection_volumes

__all__ = [
    "activity",
    "adverse_event_cases",
    "adverse_event_rates",
    "case_mix",
    "collection_volumes",
    "compare_adverse_events",
    "complication_index",
    "data_completeness",
    "debridement_yield",
    "event_grades",
    "patient_courses",
    "sessions_to_resolution",
    "time_to_first_event",
    "time_to_resolution",
    "worst_grades",
]
