import io
from dataclasses import replace

import numpy as np
import openpyxl
import pandas as pd

from builders.courses import Course, registry_of
from builders.results import method, population
from builders.series import series
from necrostats.measures import case_series
from necrostats.present import table
from necrostats.present.style import PrintStyle
from necrostats.present.workbooks import csv_of, sheet_names, without_small_groups, workbook
from necrostats.results import Listing


def read(content):
    return openpyxl.load_workbook(io.BytesIO(content))


def test_the_methods_come_first_then_a_sheet_a_measure():
    results = {name: series().results[name] for name in ("time", "deaths", "events")}
    book = read(workbook(results, about=("Numbers from x",)))
    assert book.sheetnames == ["methods", "time", "deaths", "events"]
    rows = list(book["methods"].values)
    assert rows[0][0] == "Numbers from x" and rows[2][:3] == ("sheet", "title", "counted")
    assert [row[0] for row in rows[3:]] == ["time", "deaths", "events"]
    assert rows[3][4] == results["time"].method.estimand


def test_a_sheet_holds_the_table_as_printed_and_the_numbers_as_numbers():
    result = series().results["deaths"]
    rows = list(read(workbook({"deaths": result}))["deaths"].values)
    shown = table(result).frame
    assert rows[2][: shown.shape[1]] == tuple(map(PrintStyle().text, shown.columns))
    place = [row[0] for row in rows].index("The numbers behind it")
    assert rows[place + 1][: len(result.frame.columns)] == tuple(result.frame.columns)
    values = dict(zip(rows[place + 1], rows[place + 2], strict=True))
    assert values["events"] == int(result.frame["events"].iloc[0])
    assert values["estimate"] == result.frame["estimate"].iloc[0]


def test_unknown_is_blank_and_infinity_is_words():
    frame = pd.DataFrame({"a": [1.0, np.nan, np.inf]})
    result = Listing(title="x", frame=frame, population=population(), method=method())
    rows = list(read(workbook({"x": result}))["x"].values)
    place = [row[0] for row in rows].index("The numbers behind it")
    assert [row[0] for row in rows[place + 2 : place + 5]] == [1, None, "no limit"]


def test_names_of_sheets_are_short_plain_and_all_different():
    names = sheet_names(["a/b:c", "x" * 40, "x" * 41, "methods", "History", "", "'"])
    assert len({name.lower() for name in names.values()} | {"methods", "history"}) == len(names) + 2
    assert all(0 < len(name) <= 31 and not set(name) & set("[]:*?/\\'") for name in names.values())


def test_the_same_results_give_the_same_bytes():
    results = {"deaths": series().results["deaths"]}
    assert workbook(results) == workbook(results)


def test_no_rate_of_fewer_than_five_leaves_the_unit_in_a_number_either():
    """Four women and eight men, all seen to the horizon."""
    resolved = Course(scans=[(40, 20)], well_on=[41], last_contact=300)
    courses = [replace(resolved, about={"sex": sex, "age_years": 50}) for sex in ["female"] * 4 + ["male"] * 8]
    made = case_series(registry_of(*courses), by="sex").results
    for name in ("ends_by_group", "time_by_group", "sessions_by_group", "events_by_group", "baseline_by_group"):
        frame = without_small_groups(made[name])
        women, men = (frame[frame["group"] == sex] for sex in ("female", "male"))
        assert women[["estimate", "low", "high"]].isna().all(axis=None), name
        assert men["estimate"].notna().any(), name
        assert made[name].frame.loc[women.index, "estimate"].notna().any()
    assert csv_of(made["ends_by_group"]).decode("utf-8-sig").splitlines()[1] == "resolved,female,patients,4,4,1,,,"
