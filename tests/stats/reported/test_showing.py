from necrostats import check_reported
from necrostats.stats.reported.showing import check_table


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
