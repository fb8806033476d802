"""Published series and trials."""

from __future__ import annotations

import re

import pytest

from necrostats.definitions.adverse_events import EventWindow
from necrostats.definitions.benchmarks import BENCHMARKS, DEATH, MEMORY, OTHER, READ, RESOLVED, Stated
from necrostats.definitions.resolution import ResolutionDefinition

# Copied from a sheet of published counts taken from abstracts and summary pages. Of Gardner 2011, Yasuda 2013,
# van Brunschot 2014 and Stassen 2022 the sheet does not say how they were taken; of the trial of Bang 2019 the counts
# are the only ones that fit the printed percentages.
READ_COUNTS = {
    ("Gardner 2009", "clinical success"): (22, 25),  # Gastrointest Endosc 2009;69:1085
    ("van Santvoort 2010", "major complication or death"): (17, 43),  # N Engl J Med 2010;362:1491
    ("Gardner 2011", "clinical success"): (95, 104),  # Gastrointest Endosc 2011;73:718
    ("Bakker 2012", "major complication or death"): (2, 10),  # JAMA 2012;307:1053
    ("Bakker 2012", "new multiple organ failure"): (0, 10),  # JAMA 2012;307:1053
    ("Bakker 2012", "pancreatic fistula"): (1, 10),  # the same, as quoted by NICE IPG567 (2016)
    ("Yasuda 2013", "any adverse event"): (19, 57),  # Endoscopy 2013;45:627
    ("van Brunschot 2014", "death"): (28, 460),  # Surg Endosc 2014;28:1425
    ("Bang 2019 (randomised, step-up)", "major complication or death"): (4, 34),  # Gastroenterology 2019;156:1027
    ("Bang 2019 (randomised, step-up)", "death"): (3, 34),  # Gastroenterology 2019;156:1027
    ("Boxhoorn 2021 (immediate)", "death"): (7, 55),  # N Engl J Med 2021;385:1372
    ("Boxhoorn 2021 (postponed)", "death"): (5, 49),  # N Engl J Med 2021;385:1372
    ("Onnekink 2022", "major complication or death"): (27, 51),  # Gastroenterology 2022;163:712
    ("Stassen 2022", "cleared in one session"): (15, 30),  # Gastrointest Endosc 2022;95:471
}
FIGURES = [(each, figure) for each in BENCHMARKS for figure in each.figures]
NAMED = [f"{each.name}: {figure.what}" for each, figure in FIGURES]


def test_there_are_at_least_25_series_of_different_papers_in_order_of_year():
    years = [each.year for each in BENCHMARKS]
    assert len({each.citation for each in BENCHMARKS}) >= 25
    assert len({each.name for each in BENCHMARKS}) == len(BENCHMARKS)
    assert years == sorted(years)


@pytest.mark.parametrize("benchmark", BENCHMARKS, ids=lambda each: each.name)
def test_a_series_has_a_full_citation_of_its_year_and_at_least_one_figure(benchmark):
    assert re.fullmatch(rf"[^,]+ et al\., [A-Za-z ]+ {benchmark.year};\d+:\d+", benchmark.citation)
    assert benchmark.name.startswith(benchmark.citation.split(" et al.")[0].rsplit(" ", 1)[0])
    assert benchmark.figures


@pytest.mark.parametrize("benchmark", BENCHMARKS, ids=lambda each: each.name)
def test_every_value_has_its_provenance(benchmark):
    about = [value for value in vars(benchmark).values() if isinstance(value, Stated)]
    assert {each.provenance for each in (*about, *benchmark.figures)} <= {READ, MEMORY}
    assert len(about) >= 2


def test_what_is_called_read_is_what_was_read():
    read = {
        (each.name, figure.what): (figure.events, figure.n) for each, figure in FIGURES if figure.provenance == READ
    }
    assert read == READ_COUNTS


def test_a_number_of_patients_called_read_is_a_denominator_that_was_read():
    denominators = {}
    for (name, _), (_, n) in READ_COUNTS.items():
        denominators.setdefault(name, set()).add(n)
    read = {each.name: each.n.value for each in BENCHMARKS if each.n.provenance == READ}
    assert read
    assert all(n in denominators[name] for name, n in read.items())


@pytest.mark.parametrize(("benchmark", "figure"), FIGURES, ids=NAMED)
def test_no_figure_has_more_events_than_patients_nor_patients_than_its_series(benchmark, figure):
    assert (figure.events is None) == (figure.n is None)
    assert figure.n is None or 0 <= figure.events <= figure.n <= benchmark.n.value
    assert figure.percent is None or 0 <= figure.percent <= 100


@pytest.mark.parametrize(("benchmark", "figure"), FIGURES, ids=NAMED)
def test_a_figure_can_be_recomputed_or_says_why_not(benchmark, figure):
    needed = {
        DEATH: isinstance(figure.days, int),
        RESOLVED: isinstance(figure.definition, ResolutionDefinition),
        OTHER: False,
    }
    assert needed.get(figure.kind, isinstance(figure.window, EventWindow)) != bool(figure.lacking)
    assert figure.defined
