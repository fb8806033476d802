"""Figures for people outside the unit: what is hidden is said to be hidden, in tables as in sentences."""

from __future__ import annotations

import pandas as pd

from necrostats.present import numbers
from necrostats.present.cells import spoken_share
from necrostats.present.tables import Table, table
from necrostats.present.wording import findings, listed, plain, plural, sentence_case
from necrostats.results import Suppressed

HIDDEN = "hidden"


@table.register(Suppressed)
def _(result: Suppressed, **options) -> Table:
    """One row a count, under its section; a count that is hidden stands as "hidden", with its share."""
    level = numbers.interval_name(result.method.level)
    frame, whole = _with_something_shown(result.frame)
    rows = [
        {
            "Figure": f"{row.section}: {plain(row.what)}",
            "Of": sentence_case(plain(row.level)),
            "k / n": f"{_count(row.events)} / {_count(row.n)}",
            f"% ({level})": _share(row),
            "Verdict": row.verdict,
        }
        for row in frame.itertuples()
    ]
    columns = ["Figure", "Of", "k / n", f"% ({level})", "Verdict"]
    notes = (*whole, *(note.text for note in result.notes))
    shown = pd.DataFrame(rows, columns=columns, dtype=object)
    return Table(caption=result.title, frame=shown, row_heads=2, words=("Verdict",), notes=notes)


def _with_something_shown(frame: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Without the figures of which every count is hidden and that carry no verdict; these in a sentence."""
    keys = [frame["section"], frame["what"]]
    blank = frame["events"].isna() & (frame["verdict"] == "")
    whole = blank.groupby(keys, sort=False).transform("all")
    pairs = frame.loc[whole, ["section", "what"]].itertuples(index=False, name=None)
    named = list(dict.fromkeys(f"{plain(what)} ({section.lower()})" for section, what in pairs))
    said = (f"Hidden in full: {listed(named)}.",) if named else ()
    return frame[~whole], said


def _count(value: float) -> str:
    return numbers.count(value) if numbers.known(value) else HIDDEN


def _share(row) -> str:
    if not numbers.known(row.estimate):
        return HIDDEN if not (numbers.known(row.events) and numbers.known(row.n)) else numbers.NO_VALUES
    return f"{numbers.percent(row.estimate, row.n)} ({numbers.percent_range(row.estimate, row.low, row.high, row.n)})"


@findings.register(Suppressed)
def _(result: Suppressed, **options) -> tuple[str, ...]:
    """The signals, then how much is hidden."""
    judged = result.frame[result.frame["verdict"] != ""]
    signals = judged[judged["verdict"] == "signal"]
    of = f"{len(judged)} {plural(len(judged), 'indicators')}"
    first = f"No signal in {of}." if signals.empty else f"{len(signals)} of {of}: signal."
    return (first, *(_signal(row, result.method.level) for row in signals.itertuples()))


def _signal(row, level: float) -> str:
    if not numbers.known(row.estimate):
        return f"{row.what}: a signal; its count is hidden."
    share = spoken_share(row.estimate, row.low, row.high, row.n, level)
    return f"{row.what}: {_count(row.events)} of {_count(row.n)} ({share}), a signal."
