from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from builders.exports import HEADINGS, WIDE, read, read_wide, wide_line
from necrostats.errors import RegistryError
from necrostats.registry.export.conservation import counts_of
from necrostats.registry.export.ledger import ledger_of

CELLS = st.sampled_from(
    [
        "",
        "-",
        "?",
        "snare",
        "net x2",
        "wand",
        "12/03/24",
        "Mar-24",
        "31/02/24",
        "~250 cc",
        "300-200",
        ">500",
        "nil",
        "bled",
        "bled + perf",
        "as before",
        "see report",
        "1",
        "2",
        "93",
        45,
        0.5,
        date(2024, 3, 8),
        "=x",
        "#REF!",
        "  ",
    ]
)
LINES = st.lists(st.lists(CELLS, min_size=len(HEADINGS) + 2, max_size=len(HEADINGS) + 2), min_size=1, max_size=6)


def counted(found):
    counts = counts_of(found.material)
    assert counts.complete
    return counts


def test_every_cell_and_row_is_accounted_for(tmp_path):
    ignoring = 'patient = "Study no"\nignore = ["Note"]'
    layout = 'ignore_sheets = ["Lists"]\n' + WIDE.replace('patient = "Study no"', ignoring)
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="wand", DEN1_yield="-", DEN1_compl="nil")
    sheets = {
        "DEN": [[*HEADINGS, "Note", "Other"], [*line, "n", "o"], [*wide_line(""), "", "p"]],
        "Lists": [["a", "b"], ["c"]],
        "Old": [["d"]],
    }
    counts = counted(read(tmp_path, sheets, layout))
    assert (counts.interpreted, counts.unknown, counts.cells_set_aside) == (5, 1, 3)
    assert (counts.ignored, counts.not_mentioned) == (1 + 3, 2 + 1)
    assert (counts.rows, counts.rows_made, counts.rows_set_aside) == (2, 1, 1)


@given(lines=LINES)
@settings(deadline=None, derandomize=True, max_examples=60)
def test_nothing_is_lost_whatever_stands_in_the_cells(tmp_path_factory, lines):
    layout = WIDE.replace('patient = "Study no"', 'patient = "Study no"\nignore = ["Note"]')
    folder = tmp_path_factory.mktemp("export")
    try:
        found = read_wide(folder, wide_line("zz"), *lines, layout=layout, headings=[*HEADINGS, "Note", "Other"])
    except RegistryError as error:
        assert "This may tell who somebody is" in str(error)
        return
    counts = counted(found)
    ledger = ledger_of(found)
    told = ledger[ledger["cell"] != ""].drop_duplicates(["sheet", "cell"])
    assert len(told) >= counts.interpreted + counts.unknown
    assert not ledger["written"].str.contains("12/03/24|Mar-24|2024-03", regex=True).any()
    source = found.registry.source
    for name, table in found.registry.tables.items():
        assert len(table) == source.rows_kept[name] <= source.rows_read[name]
