"""Rates in sentences: what happened in how many of how many, in one unit a sentence."""

from __future__ import annotations

import pandas as pd

from necrostats.present import numbers
from necrostats.present.cells import exposure, is_share, per_unit, spoken_interval, spoken_share
from necrostats.present.labels import in_order, is_grouped, plain, sentence_case
from necrostats.present.saying import about, findings, listed, plural
from necrostats.present.small_numbers import NOBODY, too_few_for_a_rate
from necrostats.registry.codebook import TABLES
from necrostats.results import Rates

_TYPES = frozenset(plain(code) for code in TABLES["adverse_events"].column("event_type").codes)
_KINDS_OF_EVENT = {kind: f"{kind} event" for kind in ("cardiorespiratory", "sedation", "peroxide")} | {
    "other": "other adverse event"
}
MOST_IN_FULL = 3


def is_event(variable: object) -> bool:
    """Whether a variable is a type of adverse event, or any of them."""
    return plain(variable) in _TYPES or plain(variable).startswith("any ")


def _noun(variable: object) -> str:
    """What happened: "any adverse event" → "adverse event", "stent_migration" → "stent migration"."""
    name = plain(variable).removeprefix("any ")
    return _KINDS_OF_EVENT.get(name, name)


def some_event(variable: object) -> str:
    """What happened, as an object: "at least one adverse event", "bleeding"."""
    noun = _noun(variable)
    return noun if plain(variable) == noun else f"at least one {noun}"


def _compatible(limit: str, level: float) -> str:
    return f"up to {limit} is compatible with these data ({numbers.one_sided(level)} one-sided limit)"


def _noun_of(row) -> str:
    name = _name(row)
    return _noun(row.variable) if name == sentence_case(plain(row.variable)) else name.removeprefix("Any ").lower()


def _upper(row) -> str:
    if is_share(row.per, row.unit):
        return f"{numbers.rounded(row.conf_high * 100, 1)} %"
    return f"{numbers.amount(row.conf_high)} per {per_unit(row.unit)}"


def _nothing(row, level: float) -> str:
    if is_share(row.per, row.unit):
        of = f"any of {numbers.count(row.n)} {plural(row.n, row.unit)}"
        verb = "followed" if row.unit == "sessions" else "was recorded in"
    else:
        of, verb = f"{numbers.count(row.n)} {exposure(row.unit)}", "was recorded in"
    subject = f"No {_noun_of(row)} {verb} {of}" if is_event(row.variable) else f"{_name(row)}: none of {of[7:]}"
    if not is_event(row.variable) and not is_share(row.per, row.unit):
        subject = f"{_name(row)}: none in {of}"
    return f"{subject}; {_compatible(_upper(row), level)}." if numbers.known(row.conf_high) else f"{subject}."


def _name(row) -> str:
    """The variable at the head of a sentence; over stent-days only what is put down to a stent counts."""
    name = plain(row.variable)
    if "stent-days" in str(row.unit) and not name.startswith("stent "):
        name = "any stent-related event" if name.startswith("any ") else f"{name} put down to a stent"
    return sentence_case(name)


def _share(row, level: float) -> str:
    of = f"{numbers.count(row.events)} of {numbers.count(row.n)} {plural(row.n, row.unit)}"
    inside = spoken_share(row.estimate, row.conf_low, row.conf_high, row.n, level)
    if not is_event(row.variable):
        return f"{_name(row)}: {of} ({inside})."
    verb = "had"
    if row.unit == "sessions":
        verb = "was followed by" if row.events == 1 else "were followed by"
    return f"{of} ({inside}) {verb} {some_event(row.variable)}."


def _per_exposure(row, level: float) -> str:
    limits = spoken_interval(numbers.amount_range(row.estimate, row.conf_low, row.conf_high), level)
    link = "in" if row.per != 1 else f"{plural(row.events, 'events')} over"
    seen = f"{numbers.count(row.events)} {link} {numbers.count(row.n)} {exposure(row.unit)}"
    return f"{_name(row)}: {seen}, {numbers.amount(row.estimate)} per {per_unit(row.unit)} ({limits})."


def sentence(row, few: bool, level: float) -> str:
    """One row of Rates as a sentence."""
    if not numbers.known(row.n) or row.n == 0:
        return f"{_name(row)}, by {exposure(row.unit)}: {NOBODY}."
    if few:
        link, unit = ("of", plural(row.n, row.unit)) if is_share(row.per, row.unit) else ("in", exposure(row.unit))
        seen = f"{numbers.count(row.events)} {link} {numbers.count(row.n)} {unit}"
        return f"{_name(row)}: {seen}; too few patients or sessions for a rate."
    if row.events == 0:
        return _nothing(row, level)
    return _share(row, level) if is_share(row.per, row.unit) else _per_exposure(row, level)


def _short(row, few: bool) -> str:
    seen = f"{_noun(row.variable)} {numbers.count(row.events)} of {numbers.count(row.n)}"
    if few:
        return seen
    return f"{seen} ({spoken_share(row.estimate, row.conf_low, row.conf_high, row.n)})"


def _by_type(rows: pd.DataFrame, few: pd.Series, level: float) -> str:
    """The further variables of one group in one unit, those with none last."""
    each = [(row, bool(few[row.Index])) for row in rows.itertuples() if numbers.known(row.n) and row.n > 0]
    some = [_short(row, is_few) for row, is_few in each if row.events > 0]
    none = [
        _short(row, True) + ("" if is_few or not numbers.known(row.conf_high) else f" (up to {_upper(row)})")
        for row, is_few in each if row.events == 0
    ]  # fmt: skip
    if not each:
        return ""
    unit = each[0][0].unit
    said = [f"By type, {unit} with the event, {numbers.interval_name(level)}: {', '.join(some)}"] * bool(some)
    said += [f"none recorded: {listed(none)}"] * bool(none)
    return sentence_case("; ".join(said)) + "."


def _shares(rows: pd.DataFrame) -> pd.Series:
    return pd.Series([is_share(row.per, row.unit) for row in rows.itertuples()], index=rows.index, dtype=bool)


@findings.register(Rates)
def _(result: Rates, **options) -> tuple[str, ...]:
    table, level = result.table, result.method.level
    few, grouped = too_few_for_a_rate(table), is_grouped(table)
    variables = in_order(table["variable"])
    in_full = variables if len(variables) <= MOST_IN_FULL else variables[:1]
    said = []
    for group in in_order(table["group"]):
        rows = table[table["group"] == group]
        lead = rows[rows["variable"].isin(in_full)]
        said += [about(group, grouped, sentence(row, bool(few[row.Index]), level)) for row in lead.itertuples()]
        if not grouped:
            rest = rows[~rows["variable"].isin(in_full) & _shares(rows)]
            said.append(_by_type(rest[rest["unit"] == rest["unit"].iloc[0]] if len(rest) else rest, few, level))
    return tuple(each for each in said if each) or ("Nobody is in this table, so there is no rate.",)
