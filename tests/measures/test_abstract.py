from dataclasses import replace

import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.registries import registry_with_findings
from builders.series import first_patients, invented, series, without
from necrostats.definitions.reporting_items import REPORTING_ITEMS
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import case_series, inclusion_flow, reporting_checklist
from necrostats.measures.abstract import data_hash
from necrostats.present.case_series_texts import abstract
from necrostats.registry.tables import Source, registry_from

CURVES = {"sessions", "time", "recurrence", "sensitivity"}


@pytest.mark.parametrize(
    ("patients", "there", "absent"),
    [
        (0, {"flow"}, {"cases", "baseline", *CURVES}),
        (1, {"flow", "cases"}, {"baseline", "ends", "deaths", *CURVES}),
        (4, {"flow", "cases"}, {"baseline", "ends", "deaths", *CURVES}),
        (5, {"baseline", "ends", "deaths", "events"}, {"cases", *CURVES}),
        (9, {"baseline", "ends", "deaths", "events"}, {"cases", *CURVES}),
        (10, {"baseline", "ends", *CURVES}, {"cases", "differences"}),
        (19, {"baseline", "ends", *CURVES}, {"cases", "differences"}),
    ],
)
def test_what_is_made_follows_the_number_of_patients(patients, there, absent):
    made = set(case_series(first_patients(patients), by="sex").results)
    assert there <= made and not absent & made


@pytest.mark.parametrize(("women", "men", "compared"), [(10, 9, False), (10, 10, True), (9, 11, False)])
def test_groups_of_ten_are_compared_from_twenty_patients_on(women, men, compared):
    course = Course(scans=[(40, 20)], well_on=[41], last_contact=300)
    of = {"female": women, "male": men}
    courses = [replace(course, about={"sex": sex}) for sex, count in of.items() for _ in range(count)]
    assert ("differences" in case_series(registry_of(*courses), by="sex").results) is compared


def test_a_unit_without_scans_gets_no_figure_of_resolution_and_is_told_what_it_needs():
    made = case_series(without("scans"))
    assert not {"ends", "sessions", "time", "recurrence", "scan_schedule", "sensitivity"} & set(made.results)
    assert "scans" in made.lacking["resolution"] and "events" in made.results


@pytest.mark.parametrize(
    ("table", "figure", "gone"),
    [
        ("other_interventions", "resolution", {"ends", "sessions", "time", "recurrence", "sensitivity"}),
        ("adverse_events", "events", {"events", "grades"}),
        ("reviews", "resolution", {"ends", "sessions", "time", "recurrence", "sensitivity"}),
        ("sessions", "events", {"events", "grades"}),
    ],
)
def test_a_unit_that_does_not_keep_a_table_gets_an_abstract_that_says_what_it_lacks(table, figure, gone):
    kept = {name: frame for name, frame in invented().tables.items() if name != table}
    made = case_series(registry_from(kept), by="infection")
    assert not gone & set(made.results) and figure in made.lacking
    assert f"they need {made.lacking[figure]}, not recorded here" in str(abstract(made))


def test_the_hash_of_the_data_changes_with_a_cell_and_not_with_the_order_of_rows():
    kept = invented()
    changed = kept.patients.copy()
    changed.loc[3, "age_years"] = 33
    turned = replace(kept, scans=kept.scans.iloc[::-1])
    hashes = [data_hash(each) for each in (kept, replace(kept, patients=changed), turned)]
    assert hashes[0] != hashes[1] and hashes[0] == hashes[2]


def test_the_hash_of_the_definitions_changes_with_each_thing_that_is_asked_for():
    few = first_patients(4)
    asked = ({}, {"day": 60}, {"level": 0.9}, {"by": "sex"}, {"window": "14 days"}, {"definition": "30 mm, scan alone"})
    hashes = [case_series(few, **each).definition_hash for each in asked]
    assert len(set(hashes)) == len(hashes)
    assert len({case_series(few, **each).data_hash for each in asked}) == 1


def test_a_definition_may_be_named_and_a_wrong_name_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="20 mm, symptom-free"):
        case_series(first_patients(6), definition="20 mm symptom free")


def test_groups_known_only_later_are_refused():
    with pytest.raises(DesignError, match="immortal time"):
        case_series(invented(), by="ever_snare")


def test_the_flow_counts_every_row_about_a_patient_once():
    aside = pd.DataFrame(
        {
            "table": ["patients"] * 3,
            "file": "u.xlsx",
            "sheet": "s",
            "row": pd.array([4, 4, 5], "Int64"),
            "scope": "row",
            "column": "",
            "patient_id": "A",
            "rule": ["REQUIRED", "NOT_A_DATE", "SOMETHING_NEW"],
        }
    )
    flow = inclusion_flow(replace(registry_with_findings(), set_aside=aside)).frame
    assert flow["number"].tolist() == [4, 1, 1, 2]
    assert flow["who"].tolist()[1:3] == ["a required value is missing", "something new"]


def test_rows_set_aside_without_a_list_of_reasons_are_still_counted():
    kept = registry_with_findings()
    bare = replace(
        kept,
        set_aside=kept.set_aside.iloc[:0],
        source=Source(name="x", rows_read={"patients": 5}, rows_kept={"patients": 2}),
    )
    assert inclusion_flow(bare).frame["number"].tolist() == [5, 3, 2]


def test_the_flow_of_a_result_says_whom_it_left_out_and_why():
    flow = series().results["flow"].frame
    left = flow[flow["who"].str.startswith("Where courses stood")]
    ends = series().results["ends"].population
    assert left["number"].tolist() == [ends.patients, *ends.left_out.values()]


def test_each_reporting_item_is_met_missing_or_the_authors():
    frame = reporting_checklist(series()).frame
    assert len(frame) == len(REPORTING_ITEMS)
    assert set(frame["state"]) == {"met", "in part", "missing", "for the author"}
    small = reporting_checklist(case_series(first_patients(6))).frame.set_index("topic")
    assert small.loc["Statistics: sensitivity", "where_or_what_is_missing"] == "too few patients (6) for it"
    unscanned = reporting_checklist(case_series(without("scans"))).frame.set_index("topic")
    assert unscanned.loc["Results: outcomes", "where_or_what_is_missing"].startswith("not recorded: scans")


@pytest.mark.parametrize("wrong", [{"day": 0}, {"day": 2.5}, {"session": -1}, {"session": True}])
def test_days_and_sessions_are_whole_numbers(wrong):
    with pytest.raises(ChoiceError, match="a whole number"):
        case_series(first_patients(4), **wrong)


def test_a_day_after_the_horizon_is_the_horizon():
    assert case_series(first_patients(4), day=400).day == 180


def test_a_registry_narrowed_to_the_sessions_of_a_period_is_refused():
    with pytest.raises(DesignError, match="indexed_in"):
        case_series(invented().during("2026Q3"))


def test_patients_who_were_not_asked_for_are_counted_in_the_flow():
    flow = inclusion_flow(first_patients(12)).frame
    assert flow["stage"].tolist() == ["In the source", "Not asked for", "Included"]
    assert flow["number"].tolist() == [142, 130, 12]
