from dataclasses import replace

import pandas as pd
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, THIRTY_MM_SCAN_ALONE
from necrostats.measures import case_listing, case_series, course_ends, deaths, necrosectomies_a_patient
from necrostats.measures.course_ends import not_recorded
from necrostats.present import abstract
from necrostats.registry.tables import registry_from

RESOLVED = Course(necrosectomies=[5, 9], scans=[(40, 20)], well_on=[41], last_contact=300)
DIED = Course(died_on=30)
OPERATED = Course(surgery_on=20, last_contact=300)
UNRESOLVED = Course(scans=[(170, 90)], last_contact=300)
LOST = Course(scans=[(30, 90)], last_contact=60)
YOUNG = Course(scans=[(30, 90)], last_contact=60, observed=60)


def events(result, **labels):
    rows = result.frame
    for name, value in labels.items():
        rows = rows[rows[name] == value]
    return rows["events"].item(), rows["n"].item()


def test_ends_are_counted_over_patients_observed_to_the_horizon_whose_end_is_known():
    result = course_ends(registry_of(RESOLVED, RESOLVED, DIED, OPERATED, UNRESOLVED, LOST, YOUNG))
    assert events(result, variable="resolved") == (2, 5)
    assert events(result, variable="death") == (1, 5)
    assert events(result, variable="surgery") == (1, 5)
    assert events(result, variable="not resolved within 180 days") == (1, 5)
    assert result.frame["events"].sum() == 5 == result.population.patients
    assert dict(result.population.left_out) == {
        "patients not yet observed for 180 days": 1,
        "patients lost to view before day 180": 1,
    }


def test_a_patient_seen_to_the_horizon_of_whom_nothing_shows_whether_resolved_is_no_failure():
    result = course_ends(registry_of(RESOLVED, UNRESOLVED, Course(last_contact=300)))
    assert events(result, variable="not resolved within 180 days") == (1, 2)
    assert dict(result.population.left_out) == {
        "patients seen to that day of whom no scan or review shows whether they were resolved": 1
    }


def test_an_early_end_of_a_patient_not_yet_observed_to_the_horizon_is_not_counted():
    """Else those who end early would be counted before those who end late could be."""
    early = Course(died_on=10, observed=100)
    assert course_ends(registry_of(early, RESOLVED)).population.patients == 1


@pytest.mark.parametrize(("observed", "counted"), [(179, 0), (180, 1), (181, 1)])
def test_the_horizon_day_itself_has_to_be_observed(observed, counted):
    assert course_ends(registry_of(Course(died_on=10, observed=observed))).population.patients == counted


def test_the_limits_are_those_of_clopper_and_pearson():
    """9 of 11: 48.2 to 97.7 %, as in R's binom.test(9, 11)."""
    result = course_ends(registry_of(*[RESOLVED] * 9, DIED, OPERATED))
    row = result.frame[result.frame["variable"] == "resolved"].iloc[0]
    assert (row["low"], row["high"]) == pytest.approx((0.4822, 0.9772), abs=5e-5)


def test_nobody_whose_end_is_known_gives_empty_rows_and_no_error():
    result = course_ends(registry_of(YOUNG))
    assert result.frame["n"].eq(0).all() and result.frame["estimate"].isna().all()


def test_every_death_while_followed_is_counted_resolved_or_not():
    late = Course(scans=[(40, 20)], well_on=[41], died_on=290)
    assert events(deaths(registry_of(late, DIED, RESOLVED))) == (2, 3)


def test_necrosectomies_are_counted_by_patient_with_every_number_up_to_the_most():
    rows = necrosectomies_a_patient(registry_of(RESOLVED, RESOLVED, DIED, OPERATED)).frame
    assert dict(zip(rows["level"], rows["events"], strict=True)) == {"with 0": 2, "with 1": 0, "with 2": 2}


def test_a_patient_whose_sessions_were_set_aside_makes_the_count_a_lower_bound():
    aside = {"table": "sessions", "file": "u", "sheet": "s", "row": 4, "scope": "row", "column": "", "patient_id": "P1"}
    whole = registry_of(*[RESOLVED] * 6)
    short = replace(whole, set_aside=pd.DataFrame([aside | {"rule": "NOT_A_DATE"}]))
    assert necrosectomies_a_patient(whole).notes == ()
    (note,) = necrosectomies_a_patient(short).notes
    assert note.text == "1 patient has sessions that were set aside: the number of necrosectomies is a lower bound."
    assert "The 6 patients had at least 12 necrosectomies." in str(abstract(case_series(short)))
    assert "The 6 patients had 12 necrosectomies." in str(abstract(case_series(whole)))


def test_a_listing_of_patients_holds_no_id_no_date_and_no_exact_age():
    course = Course(
        necrosectomies=[5], scans=[(40, 20)], well_on=[41], about={"age_years": 57}, events=[(5, "bleeding")]
    )
    frame = case_listing(registry_of(course, DIED)).frame
    assert frame["course"].tolist() == ["resolved", "death"]
    assert frame["age_band"].astype(object).tolist()[0] == "40–59"
    assert frame["adverse_events_recorded"].tolist() == [1, 0]
    assert not frame.astype(str).map(lambda cell: cell.startswith("P") or "57" in cell).to_numpy().any()


def test_a_table_that_is_not_kept_is_no_table_of_noes():
    assert not_recorded(registry_of(RESOLVED), DOCUMENTED_RESOLUTION) == {}
    unscanned = not_recorded(registry_of(Course(well_on=[41])), DOCUMENTED_RESOLUTION)
    assert unscanned["resolution"].startswith("scans after the index drainage")
    unreviewed = registry_of(Course(scans=[(40, 20)]))
    assert "reviews" in not_recorded(unreviewed, DOCUMENTED_RESOLUTION)["resolution"]
    assert not_recorded(unreviewed, THIRTY_MM_SCAN_ALONE) == {}
    assert (
        "adverse events"
        in not_recorded(registry_of(Course(scans=[(40, 20)], well_on=[41], unchecked=[0])), DOCUMENTED_RESOLUTION)[
            "events"
        ]
    )


def test_an_empty_registry_has_nothing_recorded_and_no_row_to_count():
    empty = registry_from({"patients": pd.DataFrame({"patient_id": []})})
    assert set(not_recorded(empty, DOCUMENTED_RESOLUTION)) == {"resolution", "events"}
    assert course_ends(empty).population.patients == deaths(empty).population.patients == 0
    assert case_listing(empty).frame.empty
