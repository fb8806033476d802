from builders.courses import Course, registry_of
from necrostats.measures import adverse_event_rates


def _codes(result):
    return [note.code for note in result.notes]


def test_the_method_names_only_the_units_that_are_shown():
    registry = registry_of(Course(), Course())
    alone = adverse_event_rates(registry, units=("patients",)).method
    assert "patient-days" not in alone.estimand + alone.interval + alone.definition
    assert not any("Garwood" in reference for reference in alone.references)
    every = adverse_event_rates(registry, units=("patients", "100 stent-days")).method
    assert "stent-related events per 100 stent-days" in every.estimand
    assert "whatever the window" in every.definition


def test_crowding_is_said_for_the_rate_it_concerns():
    registry = registry_of(Course(events=[(2, "bleeding")] * 3), *[Course()] * 20)
    days = adverse_event_rates(registry, units=("100 patient-days",))
    each = adverse_event_rates(registry, units=("events per patient",))
    assert "limits per 100 patient-days are robust" in days.notes[-1].text
    assert "limits of events per patient are robust" in each.notes[-1].text
    assert "OVERDISPERSED" not in _codes(adverse_event_rates(registry, units=("patients",)))


def test_few_patients_are_said_where_sessions_are_shown():
    registry = registry_of(Course(events=[(2, "bleeding")]), Course())
    assert "FEW_CLUSTERS" in _codes(adverse_event_rates(registry))
    assert "FEW_CLUSTERS" not in _codes(adverse_event_rates(registry, units=("patients",)))
