"""Published figures with ours beside them."""

from __future__ import annotations

import pandas as pd
import pytest

from builders.courses import EVERYTHING, Course, registry_of
from necrostats import against_published, definitions_used, methods, table, words
from necrostats.errors import ChoiceError, StatisticsError
from necrostats.registry.tables import Recorded

# Four patients, all watched for 400 days and, unless dead, seen to day 200:
# - one at 15 mm on day 60 and well;
# - one at 25 mm on day 120 and well: too large for 20 mm, too late for 90 days;
# - one bled and died on day 20;
# - one died on day 100, with no scan and no review after the first day: by day 90 nobody knows whether resolved.
UNIT = (
    Course(necrosectomies=[5], scans=[(0, 100), (60, 15)], well_on=[60]),
    Course(necrosectomies=[5], scans=[(0, 100), (120, 25)], well_on=[120]),
    Course(necrosectomies=[5], scans=[(0, 100)], events=[(6, "bleeding")], died_on=20),
    Course(necrosectomies=[5], scans=[(0, 100)], died_on=100),
)


def without(table_name):
    return Recorded(
        tables=EVERYTHING.tables - {table_name},
        columns=frozenset(each for each in EVERYTHING.columns if each[0] != table_name),
    )


def ours(result, published, figure):
    rows = result.frame[(result.frame["published"] == published) & (result.frame["figure"] == figure)]
    return rows.iloc[0]


@pytest.mark.parametrize(
    ("published", "figure", "events", "n"),
    [
        ("Seifert 2009", "death", 1, 4),  # by day 30
        ("van Brunschot 2018", "death", 2, 4),  # by day 180
        ("Yasuda 2013", "any adverse event", 1, 4),
        ("Walter 2015", "clinical success", 1, 4),  # 20 mm, 180 days
        ("Shah 2015", "clinical success", 2, 4),  # half of baseline, 180 days
        ("Sharaiha 2016", "clinical success", 1, 3),  # 30 mm, 90 days
    ],
)
def test_our_figure_is_counted_as_theirs_was(published, figure, events, n):
    row = ours(against_published(registry_of(*UNIT)), published, figure)
    assert (row["our_events"], row["our_n"], row["remark"]) == (events, n, "")


def test_exact_limits_stand_beside_both_figures():
    row = ours(against_published(registry_of(*UNIT)), "Seifert 2009", "death")
    # Clopper-Pearson of 1 in 4, by hand: 1 - .975**(1/4) = 0.63 %; the upper limit solves (1-p)**4 + 4p(1-p)**3 = .025
    assert row["our_percent"] == 25.0
    assert row["our_low"] == 0.6
    p = row["our_high"] / 100
    assert (1 - p) ** 4 + 4 * p * (1 - p) ** 3 == pytest.approx(0.025, abs=5e-4)
    assert (row["their_events"], row["their_n"], row["their_percent"]) == (7, 93, 7.5)
    assert row["their_low"] < 7.5 < row["their_high"]


def test_patients_not_yet_watched_or_lost_before_the_day_are_not_counted():
    early = Course(scans=[(0, 100)], observed=100, last_contact=100)
    early_death = Course(scans=[(0, 100)], observed=100, died_on=10)
    lost = Course(scans=[(0, 100)], last_contact=50)
    result = against_published(registry_of(*UNIT, early, early_death, lost))
    late = ours(result, "van Brunschot 2018", "death")
    assert (late["our_events"], late["our_n"]) == (2, 4)
    soon = ours(result, "Seifert 2009", "death")
    assert (soon["our_events"], soon["our_n"]) == (2, 7)


def test_the_first_sentence_says_that_it_is_context_and_never_a_rank():
    result = against_published(registry_of(*UNIT))
    first = words(result).split("Seifert")[0]
    assert "context" in first
    assert "case mix" in first
    assert "never a pass mark" in first
    assert "never a rank" in first
    years = result.frame["citation"].str.extract(r" (\d{4});")[0].astype(int)
    assert years.is_monotonic_increasing


def test_every_row_is_ours_or_says_why_it_cannot_be():
    frame = against_published(registry_of(*UNIT)).frame
    reasons = frame["remark"].str.startswith("cannot be recomputed: ")
    assert (frame["our_n"].isna() == reasons).all()
    assert (~reasons).sum() == 12


def test_a_unit_without_adverse_events_is_told_what_to_add_and_gets_the_rest():
    result = against_published(registry_of(*UNIT, recorded=without("adverse_events")))
    row = ours(result, "Yasuda 2013", "any adverse event")
    assert row["remark"].startswith("cannot be recomputed: Adverse events are not recorded.")
    assert pd.isna(row["our_n"])
    assert ours(result, "Seifert 2009", "death")["our_n"] == 4


def test_a_unit_without_scans_has_no_resolution_beside_theirs():
    row = ours(against_published(registry_of(*UNIT, recorded=without("scans"))), "Walter 2015", "clinical success")
    assert "No scan with a longest axis is recorded" in row["remark"]


def test_an_empty_registry_has_their_figures_and_nobody_beside_them():
    result = against_published(registry_of())
    row = ours(result, "Seifert 2009", "death")
    assert (row["our_n"], row["remark"]) == (0, "nobody can be counted yet")
    assert "% there" not in words(result)
    assert "of 49 published figures cannot be recomputed here" in words(result)
    assert len(table(result).frame) == len(result.frame)


def test_it_shows_as_a_table_with_its_method_and_definition():
    result = against_published(registry_of(*UNIT))
    shown = table(result).frame
    assert list(shown.columns[:4]) == ["Published", "Arm", "Figure", "Counted as"]
    assert "Clopper–Pearson" in methods(result).text
    assert "nearest thresholds" in definitions_used(result).text


def test_a_level_that_cannot_be_is_answered_in_one_line():
    for wrong in (95, "high"):
        with pytest.raises((ChoiceError, StatisticsError)) as told:
            against_published(registry_of(*UNIT), level=wrong)
        assert "\n" not in str(told.value)


@pytest.mark.parametrize(("day", "died"), [(29, 1), (30, 1), (31, 0)])
def test_a_death_on_the_last_day_of_the_published_figure_counts(day, died):
    row = ours(against_published(registry_of(Course(scans=[(0, 100)], died_on=day))), "Seifert 2009", "death")
    assert (row["our_events"], row["our_n"]) == (died, 1)
