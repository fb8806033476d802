"""A column judged by shape must be judged as if every text of it were looked at by itself."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from builders.text_by_text import Said, hits_text_by_text, ids_text_by_text, study_codes_text_by_text
from necrostats.registry import source_table
from necrostats.registry.privacy import columns, dates
from necrostats.registry.privacy.columns import (
    _HARMLESS,
    KnownWords,
    Role,
    clues_in,
    exceptions,
    hits_in_column,
    is_harmless,
    stands_for_its_texts,
)
from necrostats.registry.privacy.ids import are_study_codes, clues_in_ids
from necrostats.registry.source_table import shape_of, shaped

ROLES = (
    Role(),
    Role(ids=True),
    Role(ids=True, accepted=True),
    Role(accepted=True),
    Role(dates=True),
    Role(operators=True),
    Role(ids=True, dates=True),
)
HEADINGS = ("session_id", "remarks", "Patient", "index date", "operator", "case number", "MRN")
KNOWN = (
    KnownWords(()),
    KnownWords(("Spinner", "Grabber", "DEN-123456", "S1234567", "Device 20240312", "1234567", "net")),
)
JOINTS = ("", "-", "_", " ", "/", ".", "--")
WORDS = (
    "S",
    "P",
    "C",
    "X",
    "WON",
    "DEN",
    "PAT",
    "P",
    "ID",
    "Jan",
    "may",
    "May",
    "March",
    "dob",
    "born",
    "age",
    "aged",
    "tel",
    "fax",
    "call",
    "nhs",
    "mrn",
    "id",
    "sn",
    "lot",
    "on",
    "session",
    "mon",
    "Patient",
    "Brandelow",
    "Dr",
    "AB",
    "JBX",
    "abcdefghijklm",
    "Ä",
    "S\u00ad",
    "М",
    "Spinner",
    "DEN",
    "ssn",
    "pass",
    "unit no",
    "GB",
    "DE",
    "n/a",
)


def _date(rng: np.random.Generator) -> str:
    day, month, year = rng.integers(1, 32), rng.integers(1, 13), rng.integers(1930, 2030)
    return (
        f"{year}{month:02d}{day:02d}",
        f"{year % 100:02d}{month:02d}{day:02d}",
        f"{day:02d}{month:02d}{year}",
        f"{day:02d}{month:02d}{year % 100:02d}",
        f"{year}-{month:02d}-{day:02d}",
        f"{day}/{month}/{year}",
        f"{month:02d}-{year}",
        f"{day}.{month}.{year % 100:02d}",
        f"{year}{month:02d}{day:02d}{rng.integers(10**6):06d}",
    )[rng.integers(9)]


def _digits(rng: np.random.Generator) -> str:
    length = int(rng.integers(1, 12)) if rng.random() < 0.9 else int(rng.integers(12, 25))
    lead = ("", "0", "00", "01", "07", "19", "20", "95", "110", "756")[rng.integers(10)]
    return (lead + "".join(map(str, rng.integers(0, 10, length))))[:length]


def _nhs(rng: np.random.Generator) -> str:
    digits = rng.integers(0, 10, 9)
    return "".join(map(str, digits)) + str(-int(digits @ np.arange(10, 1, -1)) % 11 % 10)


def _capitals(rng: np.random.Generator, count: int) -> str:
    return "".join("ABCDEFGHIJKLMNOPQRSTUVWXYZ"[each] for each in rng.integers(0, 26, count))


def _coded(rng: np.random.Generator) -> str:
    word = WORDS[rng.integers(len(WORDS))]
    joint = JOINTS[rng.integers(len(JOINTS))]
    return word + joint + (_digits(rng), _date(rng), _nhs(rng))[rng.integers(3)]


FORMS = {
    "running": lambda rng: f"S{rng.integers(1, 2000):07d}",
    "running, six": lambda rng: f"S{123_000 + rng.integers(0, 900)}",
    "running, eight": lambda rng: f"N{rng.integers(1, 90):08d}",
    "eight, any": lambda rng: f"N{rng.integers(10**7, 10**8)}",
    "short": lambda rng: f"P-{rng.integers(10_000):04d}",
    "sites": lambda rng: f"S{rng.integers(1, 30):02d}-{rng.integers(10**6):0{rng.integers(4, 7)}d}",
    "bare": lambda rng: str(rng.integers(1, 10 ** int(rng.integers(1, 10)))),
    "dates": _date,
    "dates in ids": lambda rng: f"P{_date(rng)}",
    "national": _nhs,
    "lettered": lambda rng: f"{_capitals(rng, 1)}{rng.integers(10**7, 10**9)}{_capitals(rng, 1)}",
    "initials": lambda rng: f"{_capitals(rng, int(rng.integers(2, 4)))}{rng.integers(10_000)}",
    "initials last": lambda rng: f"{rng.integers(10_000)}-{_capitals(rng, 2)}",
    "telephone": lambda rng: f"0{rng.integers(10**9, 10**10)}",
    "telephone, spaced": lambda rng: f"0{rng.integers(1000, 9999)} {rng.integers(10**5, 10**6)}",
    "months": lambda rng: f"{('Jan', 'Mar', 'May', 'Dezember')[rng.integers(4)]}-{rng.integers(1900, 2100)}",
    "serial": lambda rng: f"{rng.integers(14_000, 61_000)}.{rng.integers(10**9)}",
    "quarters": lambda rng: f"{rng.integers(1800, 2100)}Q{rng.integers(6)}",
    "digits of others": lambda rng: "S" + "".join("٠１𝟚3²4"[each] for each in rng.integers(0, 6, 7)),
    "control": lambda rng: f"S{rng.integers(10**6)}" + ("\x00", "\x1c", "\t", "\u200b", "\r", "\x85")[rng.integers(6)],
    "lines": lambda rng: f"S{rng.integers(10**6)}\nP{rng.integers(10**6)}",
    "blanks": lambda rng: (" ", "", "-", "n/a", "NA", "—", ".", "Unknown")[rng.integers(8)],
    "padded": lambda rng: f"  S{rng.integers(10**7):07d}  {rng.integers(10):d}",
    "words": lambda rng: " ".join(WORDS[each] for each in rng.integers(0, len(WORDS), 2)),
    "surrogates": lambda rng: f"S\ud800{rng.integers(10**6)}",
    "coded": _coded,
}


def _column(rng: np.random.Generator) -> list[str]:
    """Cells of one form, or mostly of one form with some of others, or of any; some twice."""
    names = list(FORMS)
    main, other = (FORMS[names[each]] for each in rng.integers(0, len(names), 2))
    share = (0.0, 0.1, 0.5)[rng.integers(3)]
    cells = [(other if rng.random() < share else main)(rng) for _ in range(int(rng.integers(1, 25)))]
    return cells + cells[: int(rng.integers(0, 4))]


@pytest.fixture(autouse=True)
def by_shape(monkeypatch) -> None:
    """However few the texts, judge them by shape."""
    monkeypatch.setattr(columns, "FEW", 0)


def _hits(heading: str, cells: list[str], role: Role, known: KnownWords) -> list[Said]:
    found = hits_in_column(heading, np.array(cells, dtype=object), role, known)
    return [Said(clue=hit.clue, rows=None if hit.rows is None else tuple(hit.rows.tolist())) for hit in found]


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("block", [5, 1 << 16])
@pytest.mark.slow
def test_a_column_is_judged_as_its_texts_are_one_by_one(seed: int, block: int, monkeypatch) -> None:
    monkeypatch.setattr(source_table, "_BLOCK", block)
    rng = np.random.default_rng(4_000 + seed)
    met: Counter = Counter()
    for _ in range(150):
        heading, role = HEADINGS[rng.integers(len(HEADINGS))], ROLES[rng.integers(len(ROLES))]
        known, cells = KNOWN[rng.integers(2)], _column(rng)
        wanted = hits_text_by_text(heading, cells, role, known)
        assert _hits(heading, cells, role, known) == wanted, (heading, role, cells)
        met.update({None: 1} if not wanted else {said.clue.kind: 1 for said in wanted})
    assert len(met) > 6
    assert met[None] > 10


@pytest.mark.parametrize("form", FORMS)
def test_ids_of_one_form_are_judged_as_they_are_one_by_one(form: str) -> None:
    rng = np.random.default_rng(11)
    for count in (1, 2, 3, 8, 40, 400):
        ids = list(dict.fromkeys(FORMS[form](rng) for _ in range(count)))
        assert clues_in_ids(ids) == ids_text_by_text(ids)
        assert are_study_codes(ids) == study_codes_text_by_text(ids)


TEXTS = st.one_of(
    st.from_regex(r"\A[A-Za-z]{0,13}[-_ ]?[0-9]{0,20}[-_/. ]?[0-9]{0,9}[A-Za-z]?\Z"),
    st.from_regex(r"\A(19|20)?[0-9]{6}[A-D]?\Z"),
    st.text("SP-_01289 \n\tÄ٣.;/", max_size=14),
    st.text(max_size=8),
)


@settings(
    deadline=None, derandomize=True, max_examples=250, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    cells=st.lists(TEXTS, min_size=1, max_size=9),
    heading=st.sampled_from(HEADINGS),
    role=st.sampled_from(ROLES),
    known=st.sampled_from(KNOWN),
)
@pytest.mark.slow
def test_any_column_is_judged_as_its_texts_are_one_by_one(cells, heading, role, known) -> None:
    assert _hits(heading, cells, role, known) == hits_text_by_text(heading, cells, role, known)


def test_a_date_among_running_codes_of_eight_digits_is_found_and_the_codes_are_none() -> None:
    cells = [*(f"S{number:08d}" for number in range(1, 60)), "S20240312"]
    for heading, role in (("remarks", Role(accepted=True)), ("session_id", Role(ids=True, accepted=True))):
        found = _hits(heading, cells, role, KNOWN[0])
        assert [(said.clue.rule, said.rows) for said in found] == [("a full calendar date", (59,))]


def test_a_clue_in_more_cells_than_may_be_listed_condemns_the_column(monkeypatch) -> None:
    monkeypatch.setattr(columns, "MOST_CELLS", 20)
    for count in (20, 21):
        cells = [*(str(4_081_234 + number) for number in range(count)), *(f"w{n}" for n in range(500))]
        found = _hits("remarks", cells, Role(), KNOWN[0])
        assert found == hits_text_by_text("remarks", cells, Role(), KNOWN[0])
        assert [said.rows is None for said in found] == [count > 20]


def test_a_known_word_with_digits_excuses_itself_and_no_other_of_its_shape() -> None:
    found = _hits("remarks", ["1234567", "7654321"], Role(), KNOWN[1])
    assert [(said.clue.kind, said.rows) for said in found] == [("record_number", (1,))]


def test_few_texts_are_looked_at_one_by_one_with_the_same_result(monkeypatch) -> None:
    monkeypatch.setattr(columns, "FEW", 30)
    rng = np.random.default_rng(77)
    for _ in range(60):
        heading, cells = HEADINGS[rng.integers(len(HEADINGS))], _column(rng)
        assert _hits(heading, cells, Role(), KNOWN[1]) == hits_text_by_text(heading, cells, Role(), KNOWN[1])


@pytest.mark.parametrize("spread", [9, 15, 19, 20, 21, 90])
def test_days_of_the_calendar_that_run_on_as_numbers_do_are_no_dates(spread: int) -> None:
    ids = [f"P{10_100 + each:06d}" for each in (*range(9), spread)]
    assert clues_in_ids(ids) == ids_text_by_text(ids)
    assert bool(clues_in_ids(ids)) == (spread >= 20)


# Every word that a rule about dates, births, ages or announced numbers asks for, and others of each length.
LETTERS = """
dob born geb nee ne nato nata nacido fodt age aged alter tel phone mob fon ring call text ext fax telefax mrn hosp hn
emr nhs chi acc ipp sn ser lot charge batch ref udi cat unit chart lab pass pat patient pt case pid visit id policy
member account acct konto iban gmc npi dea passport ssn cpr bsn ahv dni nie vin http www y yo years Dr Mr Anna
Brandelow Brown Hospital London St Street D F I E CH A B L NL DK S N W X Z AB GB DE QQ CE JB abcdef necrosectomy
dect blp tfno wristband sample specimen trial subject donor token urn upi memb nhi kfz zip plz ward bed bay room
yob f w m died rip ct op kw R WX notes card sharma siobhan Brandelow's
Abcdefghijkl ABCDEFGHIJKL May MAY JAN Q t T a d c IV
"""
DATE_WORDS = sorted({word for word in dates._WORDS_OF_DATES if len(word) <= 12} | {*LETTERS.split()})
PARTS = ("", "1", "9", "00", "01", "12", "20", "99", "110", "000", "756", "198", "112")
ENDS = (
    "00000",
    "01234",
    "12345",
    "20240",
    "99999",
    "11111",
    "000000",
    "120356",
    "240312",
    "123456",
    "019750",
    "311299",
    "0000000",
    "0123456",
    "1234567",
    "4081234",
    "2024031",
    "9990001",
    "00000000",
    "20240312",
    "20241312",
    "19000101",
    "18991231",
    "12032024",
    "01234567",
    "07700900",
    "99999999",
    "20240232",
    "20240300",
    "21000101",
)


@settings(deadline=None, derandomize=True, max_examples=500)
@given(text=st.one_of(st.from_regex(_HARMLESS), st.text("019QaIVx.,-+ \n", max_size=9)), digits=st.randoms())
@pytest.mark.slow
def test_a_harmless_shape_is_the_shape_of_harmless_texts_only(text: str, digits) -> None:
    others = "".join(digits.choice("0123456789") if each in "0123456789" else each for each in text)
    if is_harmless(shape_of(text)):
        assert is_harmless(text)
        assert is_harmless(others)


def test_only_a_quarter_hangs_on_its_digits() -> None:
    assert is_harmless("2026Q3")
    assert not is_harmless(shape_of("2026Q3"))
    assert not stands_for_its_texts(shape_of("2026Q3"))


def _spelt(shape: str, rng: np.random.Generator) -> str:
    return "".join(str(rng.integers(10)) if each == "1" else each for each in shape)


@pytest.mark.parametrize("joint", ["", "-", "_"])
@pytest.mark.parametrize("dates_belong", [False, True])
@pytest.mark.slow
def test_a_shape_that_stands_for_its_texts_has_their_clues(joint: str, dates_belong: bool) -> None:
    rng = np.random.default_rng(3)
    texts = [f"{word}{joint}{end}" for word in ("", *DATE_WORDS) for end in ENDS[:: 1 + len(word) % 3]]
    texts += [
        f"{word}{joint}{part}{between}{end}"
        for word in DATE_WORDS[::7]
        for part in PARTS[1:]
        for between in "-_"
        for end in ENDS[::4]
    ]
    texts += [_spelt(shape_of(text), rng) for text in texts]
    stood = 0
    for group in shaped(list(dict.fromkeys(texts))).groups():
        if stands_for_its_texts(group.shape):
            wanted = clues_in(group.shape, dates_belong=dates_belong)
            for text in group.texts[~exceptions(group)]:
                stood += 1
                assert clues_in(text, dates_belong=dates_belong) == wanted, text
    assert stood > 4_000


def test_shapes_in_which_a_rule_hangs_on_digits_stand_for_nothing() -> None:
    for text in (
        "March-2012",
        "Jan-2012x",
        "12/03/2024",
        "123456789",
        "S123456789",
        "12345678Z",
        "AB123456C",
        "S1234567-",
        "120356-1234",
        "P120356-123",
        "1234-12345",
        "192.168.100.200",
        "age 95678",
        "P-001-234567",
        "Ä1234567",
        "1234567\n",
        " S123456",
        "S 1234567",
        "12345.123456",
    ):
        assert not stands_for_its_texts(shape_of(text)), text


def test_the_exceptions_are_the_days_of_a_year_written_in_one() -> None:
    rng = np.random.default_rng(8)
    texts = [f"S{number}" for number in rng.integers(18_000_000, 22_000_000, 4_000)]
    edges = [(year, month, day) for year in (1899, 1900, 2099, 2100) for month in range(14) for day in range(33)]
    texts += [f"S{year}{month:02d}{day:02d}" for year, month, day in edges]
    (group,) = shaped(texts).groups()
    told = exceptions(group)
    assert told.tolist() == [dates.has_full_date(text) for text in texts]
    assert 300 < told.sum() < len(texts)
