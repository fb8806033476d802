from __future__ import annotations

from builders.results import NAN, method, population
from necrostats.measures.estimates import estimate_row, estimate_table
from necrostats.present.saying import findings
from necrostats.results import Estimates


def _said(*rows, groups=("all",)):
    table = estimate_table(list(rows), groups=groups)
    return findings(Estimates(title="Figures", table=table, population=population(), method=method()))


def _share(variable, estimate, events, n=20, **more):
    return estimate_row(
        "incidence", variable, unit="share", of="patients", events=events, n=n, estimate=estimate,
        low=estimate - 0.1, high=estimate + 0.1, **more,
    )  # fmt: skip


def _follow_up(estimate, low, high, n, group):
    return estimate_row("median follow-up", "follow-up", unit="days", of="patients", n=n, group=group,
                        estimate=estimate, low=low, high=high)  # fmt: skip


def test_each_of_a_few_figures_is_said_with_what_it_rests_on():
    assert _said(_share("a", 0.5, 10), _share("b", 0.3, 6)) == (
        "Incidence: a 50 % (95 % CI 40–60 %), 10 of 20 patients; b 30 % (95 % CI 20–40 %), 6 of 20 patients.",
    )


def test_a_median_of_days_names_its_group_and_says_how_many_without_a_count():
    rows = (_follow_up(120, 90, NAN, 30, "female"), _follow_up(200, 150, 260, 1, "male"))
    assert _said(*rows, groups=("female", "male")) == (
        "Median follow-up: follow-up, female 120 days (95 % CI 90 to not reached), n = 30 patients; follow-up, male "
        "too few, n = 1 patient.",
    )


def test_each_measure_has_a_sentence_of_its_own():
    gap = estimate_row("difference", "a minus b", unit="difference of shares", of="patients", n=40, estimate=-0.2,
                       low=-0.3, high=-0.1)  # fmt: skip
    said = _said(_share("a", 0.5, 10), gap)
    assert len(said) == 2
    assert said[1] == "Difference: a minus b −20.0 percentage points (95 % CI −30.0 to −10.0), n = 40 patients."


def test_of_many_figures_the_lowest_the_highest_and_the_first_are_said():
    shares = {"a": 0.5, "b": 0.3, "c": 0.6, "d": 0.4, "e": 0.5}
    rows = [_share(name, share, round(20 * share)) for name, share in shares.items()]
    assert _said(*rows) == (
        "Incidence: from 30 % (95 % CI 20–40 %) (b) to 60 % (95 % CI 50–70 %) (c), over 5 figures; "
        "a 50 % (95 % CI 40–60 %), 10 of 20 patients.",
    )


def test_many_figures_of_which_none_can_be_given_and_no_figures_at_all_are_answers():
    few = [_share(name, 0.5, 2, n=4) for name in "abcde"]
    assert _said(*few) == ("Incidence: none can be given.",)
    assert _said() == ("There are no figures to describe.",)
