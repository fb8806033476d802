"""The public names, for editors and type checkers; `__init__.py` imports each when it is first asked for."""

from necrostats.definitions.attribution import (
    AttributionRule as AttributionRule,
)
from necrostats.definitions.resolution import (
    ResolutionDefinition as ResolutionDefinition,
)
from necrostats.errors import (
    NecrostatsError as NecrostatsError,
)
from necrostats.measures import (
    CaseSeries as CaseSeries,
)
from necrostats.measures import (
    activity as activity,
)
from necrostats.measures import (
    adverse_event_cases as adverse_event_cases,
)
from necrostats.measures import (
    adverse_event_rates as adverse_event_rates,
)
from necrostats.measures import (
    adverse_events_by_class as adverse_events_by_class,
)
from necrostats.measures import (
    attribution_sensitivity as attribution_sensitivity,
)
from necrostats.measures import (
    bootstrap_resolution as bootstrap_resolution,
)
from necrostats.measures import (
    case_listing as case_listing,
)
from necrostats.measures import (
    case_mix as case_mix,
)
from necrostats.measures import (
    case_series as case_series,
)
from necrostats.measures import (
    collection_resolution as collection_resolution,
)
from necrostats.measures import (
    collection_volumes as collection_volumes,
)
from necrostats.measures import (
    compare_adverse_events as compare_adverse_events,
)
from necrostats.measures import (
    compare_resolution as compare_resolution,
)
from necrostats.measures import (
    compare_yield as compare_yield,
)
from necrostats.measures import (
    competing_ends_trap as competing_ends_trap,
)
from necrostats.measures import (
    complication_index as complication_index,
)
from necrostats.measures import (
    course_ends as course_ends,
)
from necrostats.measures import (
    data_completeness as data_completeness,
)
from necrostats.measures import (
    deaths as deaths,
)
from necrostats.measures import (
    debridement_yield as debridement_yield,
)
from necrostats.measures import (
    event_free_survival as event_free_survival,
)
from necrostats.measures import (
    event_grades as event_grades,
)
from necrostats.measures import (
    ever_used_trap as ever_used_trap,
)
from necrostats.measures import (
    follow_up as follow_up,
)
from necrostats.measures import (
    inclusion_flow as inclusion_flow,
)
from necrostats.measures import (
    instrument_combinations as instrument_combinations,
)
from necrostats.measures import (
    interval_censored_resolution as interval_censored_resolution,
)
from necrostats.measures import (
    landmark_resolution as landmark_resolution,
)
from necrostats.measures import (
    naive_mean_sessions as naive_mean_sessions,
)
from necrostats.measures import (
    necrosectomies_a_patient as necrosectomies_a_patient,
)
from necrostats.measures import (
    parametric_resolution as parametric_resolution,
)
from necrostats.measures import (
    patient_courses as patient_courses,
)
from necrostats.measures import (
    precision_plan as precision_plan,
)
from necrostats.measures import (
    quarter_verdicts as quarter_verdicts,
)
from necrostats.measures import (
    recurrence as recurrence,
)
from necrostats.measures import (
    reporting_checklist as reporting_checklist,
)
from necrostats.measures import (
    resolution_after_use as resolution_after_use,
)
from necrostats.measures import (
    resolution_by_stent as resolution_by_stent,
)
from necrostats.measures import (
    resolution_models as resolution_models,
)
from necrostats.measures import (
    restricted_mean_resolution as restricted_mean_resolution,
)
from necrostats.measures import (
    scan_schedule as scan_schedule,
)
from necrostats.measures import (
    sensitivity as sensitivity,
)
from necrostats.measures import (
    session_regression as session_regression,
)
from necrostats.measures import (
    session_states as session_states,
)
from necrostats.measures import (
    sessions_to_resolution as sessions_to_resolution,
)
from necrostats.measures import (
    time_to_first_event as time_to_first_event,
)
from necrostats.measures import (
    time_to_resolution as time_to_resolution,
)
from necrostats.measures import (
    worst_grades as worst_grades,
)
from necrostats.measures import (
    yield_answer as yield_answer,
)
from necrostats.measures import (
    yield_overlap as yield_overlap,
)
from necrostats.measures.frames import (
    session_frame as session_frame,
)
from necrostats.measures.frames import (
    survival_frame as survival_frame,
)
from necrostats.present import (
    Abstract as Abstract,
)
from necrostats.present import (
    abstract as abstract,
)
from necrostats.present import (
    chart as chart,
)
from necrostats.present import (
    reviewer_questions as reviewer_questions,
)
from necrostats.present import (
    save_as as save_as,
)
from necrostats.present import (
    save_documents as save_documents,
)
from necrostats.present import (
    table as table,
)
from necrostats.present import (
    words as words,
)
from necrostats.registry.loading import (
    read_registry as read_registry,
)
from necrostats.registry.tables import (
    Registry as Registry,
)
from necrostats.registry.tables import (
    registry_from as registry_from,
)
from necrostats.report.draft_checking import (
    check_draft as check_draft,
)
from necrostats.report.draft_findings import (
    DraftCheck as DraftCheck,
)
from necrostats.report.listings import (
    count_findings as count_findings,
)
from necrostats.report.listings import (
    list_findings as list_findings,
)
from necrostats.report.listings import (
    list_set_aside as list_set_aside,
)
from necrostats.report.listings import (
    what_was_read as what_was_read,
)
from necrostats.report.overview import (
    review_period as review_period,
)
from necrostats.report.overview import (
    status as status,
)
from necrostats.report.prose import (
    cautions as cautions,
)
from necrostats.report.prose import (
    definitions_used as definitions_used,
)
from necrostats.report.prose import (
    lead as lead,
)
from necrostats.report.prose import (
    methods as methods,
)
from necrostats.report.reporting import (
    write_report as write_report,
)
from necrostats.results import (
    Answer as Answer,
)
from necrostats.results import (
    Comparison as Comparison,
)
from necrostats.results import (
    Courses as Courses,
)
from necrostats.results import (
    Curves as Curves,
)
from necrostats.results import (
    Estimates as Estimates,
)
from necrostats.results import (
    Listing as Listing,
)
from necrostats.results import (
    Method as Method,
)
from necrostats.results import (
    Note as Note,
)
from necrostats.results import (
    Overlap as Overlap,
)
from necrostats.results import (
    Population as Population,
)
from necrostats.results import (
    Quarters as Quarters,
)
from necrostats.results import (
    Rates as Rates,
)
from necrostats.results import (
    Result as Result,
)
from necrostats.results import (
    Specifications as Specifications,
)
from necrostats.results import (
    Statements as Statements,
)
from necrostats.results import (
    Summary as Summary,
)
from necrostats.results import (
    Trajectories as Trajectories,
)
from necrostats.results import (
    Unanswered as Unanswered,
)
from necrostats.results import (
    YieldComparison as YieldComparison,
)
from necrostats.stats.reported import (
    check_reported as check_reported,
)

__version__: str
__all__: list[str]
