from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats import check_reported
from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons.two_shares import TESTS
from necrostats.stats.proportions import clopper_pearson
from necrostats.stats.reported import check_table, printed


def test_a_percentage_that_no_whole_number_gives_is_found_without_the_count():
    found = check_reported(None, 34, percent="12.5")
    assert not found.consistent
    assert found.sentences == ("No whole number of 34 is 12.5 %; the nearest is 4, 11.8 %.",)


def test_a_percentage_of_the_wrong_count_names_the_count_it_would_be():
    item = check_reported(5, 34, percent="11.8").of("percent")
    assert item.verdict == "does not fit"
    assert item.sentence == "5 of 34 is 14.7 %, not 11.8 %; 11.8 % would be 4."


def test_a_percentage_cut_off_instead_of_rounded_is_told_apart():
    assert check_reported(2, 3, percent="66").of("percent").verdict == "fits if cut off"
    assert check_reported(2, 3, percent="67").of("percent").verdict == "fits"


@settings(deadline=None, derandomize=True, max_examples=80)
@given(n=st.integers(1, 400), decimals=st.integers(0, 2), draw=st.data())
def test_a_percentage_printed_from_its_count_always_fits(n, decimals, draw):
    k = draw.draw(st.integers(0, n))
    text = f"{100 * k / n:.{decimals}f}"
    assert check_reported(k, n, percent=text).of("percent").verdict == "fits"
    assert check_reported(None, n, percent=text).of("percent").verdict == "fits"


def test_a_p_of_another_test_than_named_is_found_and_named():
    item = check_reported(8, 10, k_ref=2, n_ref=10, p="0.007", test="fisher").of("p")
    assert (item.verdict, item.fits) == ("fits another method", ("chi-squared",))
    assert "does not fit Fisher's exact test; it fits: uncorrected χ² test" in item.sentence


@pytest.mark.parametrize(
    ("name", "p"), [("fisher", ".0230"), ("chi-squared", ".0073"), ("yates", ".0253"), ("boschloo", ".0118")]
)
def test_each_of_four_p_values_of_one_table_is_put_down_to_its_test(name, p):
    assert check_reported(8, 10, k_ref=2, n_ref=10, p=p).of("p").fits == (name,)


def test_a_p_of_no_test_fits_nothing_and_every_value_is_shown():
    item = check_reported(8, 10, k_ref=2, n_ref=10, p="0.40").of("p")
    assert item.verdict == "does not fit"
    assert all(test(8, 10, 2, 10).test in item.sentence for test in TESTS.values())


def test_a_ratio_is_told_from_an_odds_ratio_and_from_swapped_groups():
    counts = {"k_ref": 31, "n_ref": 45}
    assert check_reported(17, 43, ratio="0.57", **counts).of("ratio").fits == ("risk ratio",)
    other = check_reported(17, 43, ratio="0.295", measure="risk ratio", **counts).of("ratio")
    assert (other.verdict, other.fits) == ("fits another method", ("odds ratio",))
    assert check_reported(17, 43, ratio="1.74", **counts).of("ratio").fits == ("risk ratio, groups swapped",)
    assert check_reported(17, 43, ratio="0.61", **counts).of("ratio").verdict == "does not fit"


def test_an_interval_is_put_down_to_its_method():
    counts = {"k_ref": 2, "n_ref": 10}
    newcombe = check_reported(8, 10, difference="0.60", interval=("0.16", "0.80"), **counts)
    assert newcombe.of("interval").fits == ("Newcombe",)
    wald = check_reported(8, 10, difference="0.60", interval=("0.25", "0.95"), method="Newcombe", **counts)
    assert (wald.of("interval").verdict, wald.of("interval").fits) == ("fits another method", ("Wald",))


def test_an_interval_without_a_comparison_belongs_to_the_share_and_may_be_in_percent():
    assert "Clopper–Pearson" in check_reported(0, 30, interval=("0", "11.6")).of("interval").fits
    assert check_reported(0, 30, interval=("0.000", "0.095")).of("interval").fits == ("mid-P",)


def test_one_limit_that_fits_is_not_enough():
    item = check_reported(0, 30, interval=("0.000", "0.500")).of("interval")
    assert item.verdict == "does not fit"


def test_numbers_take_their_decimals_from_the_argument():
    table = {"k_ref": 2, "n_ref": 10, "difference": 0.6}
    assert check_reported(8, 10, decimals=2, **table).of("difference").verdict == "fits"
    assert check_reported(8, 10, decimals={"difference": 2}, **table).of("difference").printed == "0.6"
    assert check_reported(8, 13, k_ref=1, n_ref=13, ratio=8.0, decimals={"ratio": 2}).of("ratio").verdict == "fits"


def test_where_there_is_no_contrast_nothing_can_be_checked():
    found = check_reported(0, 10, k_ref=0, n_ref=10, ratio="1.0", interval=("0.1", "9.9"), p="1.00")
    assert {item.verdict for item in found.items} == {"cannot be checked"}
    empty = check_reported(0, 0, percent="3", interval=("0", "1"), k_ref=1, n_ref=4, p="0.5")
    assert {item.verdict for item in empty.items} == {"cannot be checked"}


def test_no_figures_give_no_verdicts():
    assert check_reported(1, 2).items == () and check_reported(1, 2).consistent


def test_what_cannot_be_asked_is_refused():
    with pytest.raises(StatisticsError, match="more than its n"):
        check_reported(5, 4, percent="1")
    with pytest.raises(StatisticsError, match="k_ref and n_ref"):
        check_reported(3, 4, p="0.1")
    with pytest.raises(StatisticsError, match="both k_ref and n_ref"):
        check_reported(3, 4, k_ref=2, p="0.1")
    with pytest.raises(StatisticsError, match="not two limits"):
        check_reported(3, 4, interval=("0.1",))
    with pytest.raises(ChoiceError, match="fisher"):
        check_reported(3, 4, k_ref=2, n_ref=4, p="0.1", test="fischer")
    with pytest.raises(ChoiceError, match="Newcombe"):
        check_reported(3, 4, k_ref=2, n_ref=4, difference="0.25", interval=("0", "1"), method="Newcomb")
    with pytest.raises(ChoiceError, match="percent"):
        check_reported(3, 4, percent="75").of("p")


def test_text_keeps_its_trailing_zeros_and_a_number_needs_its_decimals():
    assert printed("p", "0.80").decimals == 2
    assert printed("p", 0.8).decimals == 1
    assert printed("p", 0.8, 2).decimals == 2


@pytest.mark.parametrize(
    ("text", "value", "decimals", "bound"),
    [
        ("<0.001", 0.001, 3, "<"),
        ("−0.29", -0.29, 2, ""),
        ("34 %", 34, 0, ""),
        ("0·87", 0.87, 2, ""),
        (">.9", 0.9, 1, ">"),
    ],
)
def test_print_is_read_as_it_is_written(text, value, decimals, bound):
    found = printed("figure", text)
    assert (found.value, found.decimals, found.bound) == (value, decimals, bound)


def test_half_a_unit_fits_and_more_does_not():
    shown = printed("ratio", "0.57")
    assert shown.fits(0.565) and shown.fits(0.575)
    assert not shown.fits(0.5649) and not shown.fits(0.5751)


def test_a_bound_is_a_side():
    assert printed("p", "<0.001").fits(0.0002) and not printed("p", "<0.001").fits(0.002)
    assert printed("p", ">0.99").fits(1.0) and not printed("p", ">0.99").fits(0.5)


def test_digits_cut_off_are_told_from_rounding():
    shown = printed("p", "0.002")
    assert shown.cut_off(0.0029) and not shown.fits(0.0029)
    assert not shown.cut_off(0.0019)
    assert printed("d", "-0.29").cut_off(-0.2989)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(st.floats(-1000, 1000), st.integers(0, 4))
def test_every_number_fits_its_own_print(value, decimals):
    assert printed("figure", f"{value:.{decimals}f}").fits(value)


@pytest.mark.parametrize("text", ["", "n/a", "1-2", ".", "0.3 to 0.4"])
def test_what_is_no_number_is_refused_as_written(text):
    with pytest.raises(StatisticsError, match="not a printed number"):
        printed("ratio", text)


def test_the_verdicts_can_be_read_in_one_line_in_sentences_and_as_a_table():
    found = check_reported(8, 10, percent="81", k_ref=2, n_ref=10, p="0.023")
    assert repr(found) == "ReportedCheck: 2 figures held against the counts, does not fit: percent"
    assert str(found).splitlines() == list(found.sentences)
    page = found._repr_html_()
    assert page.count("<tr>") == 3
    assert '<th scope="row">percent</th><td>81</td><td>does not fit</td>' in page


def test_all_that_fits_is_none_impossible():
    said = repr(check_reported(8, 10, percent="80"))
    assert said == "ReportedCheck: 1 figure held against the counts, none impossible"


def test_nothing_to_check_says_what_to_add():
    found = check_reported(8, 10)
    assert "percent=" in str(found)
    assert "percent=" in found._repr_html_()


def test_what_was_printed_cannot_become_markup():
    found = check_reported(8, 10, k_ref=2, n_ref=10, p="<0.05")
    assert "<td>&lt;0.05</td>" in check_table(found.items)


def test_a_percent_sign_in_an_interval_or_a_difference_is_read():
    low, high = clopper_pearson(1, 400).low, clopper_pearson(1, 400).high
    shown = (f"{100 * low:.3f} %", f"{100 * high:.2f}%")
    assert check_reported(1, 400, interval=shown).of("interval").verdict == "fits"
    assert check_reported(3, 400, k_ref=1, n_ref=400, difference="0.50 %").of("difference").verdict == "fits"
    assert check_reported(3, 400, k_ref=1, n_ref=400, difference="+0.5%").of("difference").verdict == "fits"
    assert check_reported(3, 400, k_ref=1, n_ref=400, difference="0.50").of("difference").verdict == "does not fit"


def test_only_the_test_that_was_asked_for_is_computed_where_it_fits(monkeypatch):
    counted = []
    for name in list(TESTS):
        monkeypatch.setitem(
            TESTS, name, lambda *cells, name=name, test=TESTS[name]: counted.append(name) or test(*cells)
        )
    assert check_reported(8, 10, k_ref=2, n_ref=10, p="0.023", test="fisher").of("p").verdict == "fits"
    assert counted == ["fisher"]


def test_counts_of_any_size_are_checked():
    large = check_reported(
        4_000_000, 10_000_000, percent="40.0", k_ref=3_900_000, n_ref=10_000_000, ratio="1.03", p="<0.001"
    )
    assert large.consistent
    assert check_reported(None, 10**9, percent="33.3").consistent
