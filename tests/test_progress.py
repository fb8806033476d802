from __future__ import annotations

import io

import pytest

from necrostats.progress import CELLS, COLOUR, Progress, Step


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


def steps(progress, of=4):
    for done in range(of + 1):
        progress(Step("running", done=done, of=of, units="cells"))
    progress("writing x.html")
    progress.close()


def test_where_nobody_watches_each_stage_is_a_line_once():
    stream = io.StringIO()
    steps(Progress(stream, {}))
    assert stream.getvalue() == "necrostats: running\nnecrostats: writing x.html\n"


def test_in_a_terminal_the_steps_share_a_line_with_a_bar_and_the_last_is_always_shown(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    stream = Terminal()
    steps(Progress(stream, {"NO_COLOR": "1"}))
    first, second, rest = stream.getvalue().split("\n")
    assert first.split("\r")[-1] == f"necrostats: running  {'█' * CELLS} 4 of 4 cells"
    assert first.split("\r")[1] == f"necrostats: running  {'░' * CELLS} 0 of 4 cells"
    assert (second, rest) == ("necrostats: writing x.html", "")


@pytest.mark.parametrize(
    ("environment", "coloured"), [({}, True), ({"NO_COLOR": "1"}, False), ({"NO_COLOR": ""}, True)]
)
def test_colour_stays_away_where_it_is_not_wanted(environment, coloured):
    stream = Terminal()
    steps(Progress(stream, environment))
    assert (COLOUR in stream.getvalue()) == coloured
    assert ("\x1b" in stream.getvalue()) == coloured


def test_a_terminal_that_can_do_nothing_gets_plain_lines():
    stream = Terminal()
    steps(Progress(stream, {"TERM": "dumb"}))
    assert stream.getvalue() == "necrostats: running\nnecrostats: writing x.html\n"


def test_a_terminal_without_these_signs_gets_a_bar_it_can_show():
    stream = Terminal()
    stream.encoding = "ascii"
    steps(Progress(stream, {"NO_COLOR": "1"}))
    assert "#" * CELLS in stream.getvalue() and stream.getvalue().isascii()


@pytest.mark.parametrize("columns", [20, 40, 60, 200])
def test_a_line_with_a_bar_never_runs_over_the_edge(monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    stream = Terminal()
    steps(Progress(stream, {"NO_COLOR": "1"}))
    longest = max(len(line) for part in stream.getvalue().split("\n")[:-2] for line in part.split("\r"))
    assert longest < max(columns, CELLS + len("   4 of 4 cells") + 1)


def test_what_is_shorter_covers_what_was_longer():
    stream = Terminal()
    progress = Progress(stream, {"NO_COLOR": "1"})
    progress(Step("a", done=1000, of=1000))
    progress(Step("a", done=1, of=1))
    long, short = stream.getvalue().split("\r")[1:]
    assert len(short) == len(long)


def test_a_stage_said_twice_as_a_line_is_shown_twice():
    stream = io.StringIO()
    progress = Progress(stream, {})
    progress("reading a.csv")
    progress("reading a.csv")
    assert stream.getvalue().count("reading a.csv") == 2


def test_no_steps_at_all_is_a_full_bar():
    stream = Terminal()
    Progress(stream, {"NO_COLOR": "1"})(Step("nothing", done=0, of=0))
    assert "█" * CELLS in stream.getvalue()
