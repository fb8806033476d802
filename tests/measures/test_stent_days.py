import pytest

from builders.courses import Course, registry_of
from builders.many_courses import with_tables
from necrostats.measures import resolution_by_stent
from necrostats.present import chart, describe


def _registry(*stents, courses=None):
    """One patient resolved on day 60 unless said otherwise, with these stents: (placed, removed, reason)."""
    courses = courses or [Course(scans=[(60, 10)], well_on=[60])]
    rows = [
        {
            "stent_id": f"S{place}", "patient_id": "P1", "collection_id": "P1C1", "stent_type": "lumen_apposing",
            "placed_day": placed, "removed_day": removed, "end_reason": reason,
        }
        for place, (placed, removed, reason) in enumerate(stents)
    ]  # fmt: skip
    registry = registry_of(*courses)
    return with_tables(registry, stents=rows) if rows else registry


def _days(result):
    return [tuple(row) for row in result.table[["events", "n"]].to_numpy()]


@pytest.mark.parametrize(
    ("stents", "expected"),
    [
        ([(0, 20, "planned")], [(0, 20), (1, 40)]),
        ([(0, 60, "planned")], [(1, 60), (0, 0)]),
        ([(0, None, "in_place")], [(1, 60), (0, 0)]),
        ([(0, 20, "exchanged"), (20, 50, "migrated")], [(0, 50), (1, 10)]),
        ([(0, 30, "planned"), (10, 20, "planned"), (25, 40, "planned")], [(0, 40), (1, 20)]),
        ([(30, 90, "planned")], [(1, 30), (0, 30)]),
        ([(0, 20, "planned"), (70, 90, "planned")], [(0, 20), (1, 40)]),
    ],
)
def test_every_day_counts_where_the_patient_was_on_it(stents, expected):
    assert _days(resolution_by_stent(_registry(*stents))) == expected


def test_rates_are_per_100_days_with_exact_limits():
    """1 in 40 days: 2.5 per 100, 0.0633 to 13.9291 (Garwood, gamma quantiles)."""
    row = resolution_by_stent(_registry((0, 20, "planned"))).table.iloc[1]
    assert (row["estimate"], row["conf_low"], row["conf_high"]) == pytest.approx((2.5, 0.06329, 13.92911), abs=5e-5)


def test_who_has_no_stent_on_record_or_one_of_unknown_end_is_left_out_and_counted():
    courses = [Course(scans=[(60, 10)], well_on=[60])] * 2
    result = resolution_by_stent(_registry((0, None, None), courses=courses))
    assert result.population.patients == 0
    assert dict(result.population.left_out) == {
        "patients without a transmural stent on record": 1,
        "patients with a stent whose removal is not recorded": 1,
    }


def test_a_stent_of_unknown_end_placed_after_the_course_leaves_nobody_out():
    assert _days(resolution_by_stent(_registry((0, 20, "planned"), (60, None, None)))) == [(0, 20), (1, 40)]


def test_it_is_described_as_no_effect_of_the_stent():
    result = resolution_by_stent(_registry((0, 20, "planned")))
    assert "is not an effect of the stent" in describe(result)
    assert chart(result).alt


def test_nobody_gives_an_empty_answer_and_no_error():
    result = resolution_by_stent(_registry((0, 20, "planned")).select([False]))
    assert _days(result) == [(0, 0), (0, 0)]
    assert result.table["estimate"].isna().all()
