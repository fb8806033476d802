"""Whether printed figures can be right, given the counts printed beside them.

Numbers as they stand in print: what they can be before rounding.

The verdict on one printed figure, held against what each method gives.

The verdicts on printed figures as a plain accessible table.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.shown import framed
from necrostats.stats import checks
from necrostats.stats.comparisons.two_shares import (
    TEST_TITLES,
    TESTS,
    Counts,
    Limits,
    difference_limits,
    p_value_of,
    p_values,
    ratio_limits,
    ratios,
    share_limits,
)

_WRITTEN = re.compile(r"\s*([<>≤≥]?)\s*([-−+]?)\s*(\d*)(?:[.·](\d*))?\s*(%?)\s*")
_SLACK = 1e-9
_MOST_SHOWN = 6


@dataclass(frozen=True, kw_only=True)
class Printed:
    """A printed number: its text, value, decimals, "<" or ">" where it is a bound, and whether it says %."""

    text: str
    value: float
    decimals: int
    bound: str = ""
    percent: bool = False

    @property
    def unit(self) -> float:
        """One unit of the last printed digit."""
        return 10.0**-self.decimals

    def fits(self, value: float) -> bool:
        """Whether `value` could be printed so: within half a unit of the last digit, or on the right side."""
        if not math.isfinite(value):
            return False
        if self.bound:
            return value < self.value + _SLACK if self.bound == "<" else value > self.value - _SLACK
        return abs(value - self.value) <= self.unit / 2 + _SLACK

    def cut_off(self, value: float) -> bool:
        """Whether `value` gives this number when its further digits are dropped instead of rounded."""
        if not math.isfinite(value) or self.bound:
            return False
        return math.trunc(value / self.unit + math.copysign(_SLACK, value)) == round(self.value / self.unit)


def printed(name: str, value: str | float, decimals: int | None = None) -> Printed:
    """A number as printed: text such as "0.80", "<0.001" or "34 %", or a number with its decimals.

    Without `decimals`, those written are taken; a number that lost its trailing zeros needs them. StatisticsError
    where there is no number.
    """
    text = str(value)
    found = _WRITTEN.fullmatch(text)
    if not found or not (found[3] or found[4]):
        raise StatisticsError(f'{name}: "{text}" is not a printed number. Write it as in the paper, such as "0.80".')
    sign, minus, whole, fraction = found[1], found[2], found[3] or "0", found[4] or ""
    size = float(f"{whole}.{fraction or 0}")
    return Printed(
        text=text.strip(),
        value=-size if minus in ("-", "−") else size,
        decimals=len(fraction) if decimals is None else decimals,
        bound=sign.replace("≤", "<").replace("≥", ">"),
        percent=bool(found[5]),
    )


FITS, CUT, OTHER, WRONG, OPEN = "fits", "fits if cut off", "fits another method", "does not fit", "cannot be checked"
_SUBJECTS: Mapping[str, str] = {"p": "p", "interval": "The interval"}
_AS_NAMED: Mapping[str, str] = {}


@dataclass(frozen=True, kw_only=True)
class ReportedItem:
    """One printed figure: its name, its text, the verdict, a sentence, and the methods it fits."""

    item: str
    printed: str
    verdict: str
    sentence: str
    fits: tuple[str, ...] = ()


def judge_number(
    item: str, shown: Printed, found: Mapping[str, float], named: str | None, titles: Mapping[str, str] = _AS_NAMED
) -> ReportedItem:
    """Hold one printed number against each candidate value; `titles` are the names to print for them."""
    if named is not None and named not in found:
        raise unknown_choice(f"name for the {item}", named, found)
    real = {name: value for name, value in found.items() if value == value}
    if not real:
        return judged(item, shown, OPEN, f"These counts allow no {item}: {shown.text} cannot be checked.")
    fitting = tuple(name for name, value in real.items() if shown.fits(value))
    cut = tuple(name for name, value in real.items() if shown.cut_off(value) and name not in fitting)
    values = "; ".join(f"{titles.get(name, name)} {value:.{shown.decimals + 2}g}" for name, value in real.items())
    return _verdict(item, shown.text, fitting, cut, named, values, titles)


def judge_interval(
    shown: tuple[Printed, Printed], found: Mapping[str, Limits], named: str | None, *, in_percent: bool
) -> ReportedItem:
    """Hold two printed limits against each candidate interval: both must fit."""
    low, high = shown
    text = f"{low.text} to {high.text}"
    if named is not None and found and named not in found:
        raise unknown_choice("method for this interval", named, found)
    real = {name: limits for name, limits in found.items() if limits.low == limits.low and limits.high == limits.high}
    if not real:
        sentence = f"No interval exists for these counts: {text} cannot be checked."
        return ReportedItem(item="interval", printed=text, verdict=OPEN, sentence=sentence)
    scale = 100.0 if in_percent and _says_percent(low, high) else 1.0
    at = {name: Limits(low=scale * each.low, high=scale * each.high) for name, each in real.items()}
    fitting = tuple(name for name, each in at.items() if low.fits(each.low) and high.fits(each.high))
    cut = tuple(name for name, each in at.items() if name not in fitting and _nearly(low, each.low, high, each.high))
    digits = max(low.decimals, high.decimals) + 1
    values = "; ".join(f"{name} {each.low:.{digits}f} to {each.high:.{digits}f}" for name, each in at.items())
    return _verdict("interval", text, fitting, cut, named, values, _AS_NAMED)


def _says_percent(*shown: Printed) -> bool:
    """Whether shares are printed in percent: one says so, or lies beyond 1."""
    return any(each.percent or abs(each.value) > 1 for each in shown)


def _nearly(low: Printed, at_low: float, high: Printed, at_high: float) -> bool:
    return (low.fits(at_low) or low.cut_off(at_low)) and (high.fits(at_high) or high.cut_off(at_high))


def _verdict(
    item: str,
    text: str,
    fitting: tuple[str, ...],
    cut: tuple[str, ...],
    named: str | None,
    values: str,
    titles: Mapping[str, str],
) -> ReportedItem:
    said = f"{_SUBJECTS.get(item, f'The {item}')} {text}"
    fits = ", ".join(titles.get(name, name) for name in fitting or cut)
    if named in fitting or (named is None and fitting):
        verdict, sentence = FITS, f"{said} fits: {fits}."
    elif named in cut or (named is None and cut):
        verdict = CUT
        sentence = f"{said} fits when digits are cut off, not rounded: {titles.get(named, named) or fits}."
    elif fitting or cut:
        verdict = OTHER
        sentence = f"{said} does not fit {titles.get(named, named)}; it fits: {fits}. Values: {values}."
    else:
        verdict, sentence = WRONG, f"{said} fits nothing these counts give. Values: {values}."
    return ReportedItem(item=item, printed=text, verdict=verdict, sentence=sentence, fits=fitting or cut)


def judged(item: str, shown: Printed, verdict: str, sentence: str) -> ReportedItem:
    return ReportedItem(item=item, printed=shown.text, verdict=verdict, sentence=sentence)


NOTHING = "No figure was given to check: add percent=, ratio=, interval=, difference= or p=, as printed."
CAPTION = "Printed figures held against their counts. One that does not fit may be a slip in it or in the counts."
HEADS = ("Figure", "As printed", "Verdict", "Why")


def check_table(items: Iterable[ReportedItem]) -> str:
    """A row for each figure: its name, its text, the verdict and the sentence; HTML without style or script."""
    listed = list(items)
    if not listed:
        return f"<p>{html.escape(NOTHING)}</p>"
    head = "".join(f'<th scope="col">{name}</th>' for name in HEADS)
    rows = "".join(_row(each) for each in listed)
    return f"<table><caption>{CAPTION}</caption><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _row(item: ReportedItem) -> str:
    cells = (item.printed, item.verdict, item.sentence)
    name = f'<th scope="row">{html.escape(item.item)}</th>'
    return f"<tr>{name}{''.join(f'<td>{html.escape(cell)}</td>' for cell in cells)}</tr>"


@dataclass(frozen=True, kw_only=True, repr=False)
class ReportedCheck:
    """The verdict on each printed figure. A figure that does not fit may be a slip in it or in the counts.

    `str()` gives a sentence for each figure; in a notebook it shows as a table.
    """

    items: tuple[ReportedItem, ...]

    def __repr__(self) -> str:
        checked = f"{len(self.items)} {'figure' if len(self.items) == 1 else 'figures'} held against the counts"
        wrong = [each.item for each in self.items if each.verdict == WRONG]
        return f"ReportedCheck: {checked}, {'does not fit: ' + ', '.join(wrong) if wrong else 'none impossible'}"

    def __str__(self) -> str:
        return "\n".join(self.sentences) or NOTHING

    def _repr_html_(self) -> str:
        return framed(check_table(self.items))

    @property
    def sentences(self) -> tuple[str, ...]:
        """One plain sentence a figure."""
        return tuple(each.sentence for each in self.items)

    @property
    def consistent(self) -> bool:
        """Whether no figure is beyond the counts; one that fits another method than named is not."""
        return all(each.verdict != WRONG for each in self.items)

    def of(self, item: str) -> ReportedItem:
        """One item by name. ChoiceError if that figure was not given."""
        for each in self.items:
            if each.item == item:
                return each
        raise unknown_choice("figure in this check", item, [each.item for each in self.items])


def check_reported(
    k: int | None,
    n: int,
    *,
    percent: str | float | None = None,
    k_ref: int | None = None,
    n_ref: int | None = None,
    difference: str | float | None = None,
    ratio: str | float | None = None,
    measure: str | None = None,
    interval: Sequence[str | float] | None = None,
    method: str | None = None,
    p: str | float | None = None,
    test: str | None = None,
    level: float = 0.95,
    decimals: int | Mapping[str, int] | None = None,
) -> ReportedCheck:
    """Hold printed figures against the counts: k of n, and k_ref of n_ref where two groups are compared.

    Figures as printed: text keeps its trailing zeros ("0.80", "<0.001"); for numbers say `decimals`, one for all or
    by figure ("percent", "difference", "ratio", "interval", "p"). With `k` None only the percentage is checked: can
    any whole number of n give it? `interval` belongs to the ratio if there is one, else to the difference, else to
    k of n. `measure`, `method` and `test` are what the paper names; without them any that fits will do. A difference
    or an interval of shares is a share, or in percent when a number says "%" or is beyond 1. Rounding is half a unit of
    the last digit. Brown NJL, Heathers JAJ. Soc Psychol Personal Sci 2017;8:363-369 (whole numbers behind a mean).
    """
    checks.confidence_level(level)
    size = _whole("n", n)
    shown = _Shown(decimals=decimals)
    items = [] if percent is None else [_percent(k, size, shown.one("percent", percent))]
    if k is None:
        return ReportedCheck(items=tuple(items))
    pair = _pair(_whole("k", k), size, k_ref, n_ref)
    if pair is None and (difference, ratio, p) != (None, None, None):
        raise StatisticsError("A difference, a ratio or a p compares two groups: give k_ref and n_ref as well.")
    if difference is not None:
        items.append(_difference(pair, shown.one("difference", difference)))
    if ratio is not None:
        items.append(_ratio(pair, shown.one("ratio", ratio), measure))
    if interval is not None:
        kind = "ratio" if ratio is not None else "difference" if difference is not None else "share"
        limits = _limits_of(kind, k, size, pair, level)
        items.append(judge_interval(shown.two("interval", interval), limits, method, in_percent=kind != "ratio"))
    if p is not None:
        items.append(_p_value(pair, shown.one("p", p), test))
    return ReportedCheck(items=tuple(items))


@dataclass(frozen=True, kw_only=True)
class _Shown:
    """Reads printed figures with the decimals that were said."""

    decimals: int | Mapping[str, int] | None

    def one(self, name: str, value: str | float) -> Printed:
        said = self.decimals.get(name) if isinstance(self.decimals, Mapping) else self.decimals
        return printed(name, value, said)

    def two(self, name: str, values: Sequence[str | float]) -> tuple[Printed, Printed]:
        if isinstance(values, str) or len(values) != 2:
            raise StatisticsError(f'{name}: {values} is not two limits. Write both, such as ("0.38", "0.87").')
        return self.one(name, values[0]), self.one(name, values[1])


def _whole(name: str, value: float) -> int:
    number = checks.counts(name, value)
    if number.ndim:
        raise StatisticsError(f"{name} holds several numbers: this checks one table at a time.")
    return int(number)


def _pair(k: int, n: int, k_ref: int | None, n_ref: int | None) -> Counts | None:
    checks.events_of(k, n)
    if k_ref is None and n_ref is None:
        return None
    if k_ref is None or n_ref is None:
        raise StatisticsError("Give both k_ref and n_ref, or neither.")
    reference = _whole("k_ref", k_ref), _whole("n_ref", n_ref)
    checks.events_of(*reference)
    return Counts(k=k, n=n, k_ref=reference[0], n_ref=reference[1])


def _percent(k: int | None, n: int, shown: Printed) -> ReportedItem:
    if not n:
        return ReportedItem(item="percent", printed=shown.text, verdict=OPEN, sentence="n is 0: no share to check.")
    possible = _possible(n, shown)
    whole = ", ".join(map(str, possible[:_MOST_SHOWN])) + (" …" if len(possible) > _MOST_SHOWN else "")
    if k is None:
        verdict = FITS if possible else WRONG
        nearest = min(max(round(n * shown.value / 100), 0), n)
        nothing = f"no whole number of {n} is {shown.text} %; the nearest is {nearest}, {_rate(nearest, n, shown)} %."
        found = f"{shown.text} % of {n} can be {whole}."
        return judged("percent", shown, verdict, found if possible else nothing[0].upper() + nothing[1:])
    if shown.fits(100 * k / n):
        return judged("percent", shown, FITS, f"{k} of {n} is {_rate(k, n, shown)} %, as printed.")
    if shown.cut_off(100 * k / n):
        sentence = f"{k} of {n} is {_rate(k, n, shown)} %; {shown.text} % is what is left when digits are cut off."
        return judged("percent", shown, CUT, sentence)
    instead = f"{shown.text} % would be {whole}" if possible else f"no whole number of {n} is {shown.text} %"
    return judged("percent", shown, WRONG, f"{k} of {n} is {_rate(k, n, shown)} %, not {shown.text} %; {instead}.")


def _possible(n: int, shown: Printed) -> list[int]:
    """The first few whole numbers of n that could be printed so."""
    spare = 0.0 if shown.bound else shown.unit / 2
    first = 0 if shown.bound == "<" else max(0, math.floor(n * (shown.value - spare) / 100) - 1)
    last = n if shown.bound == ">" else min(n, math.ceil(n * (shown.value + spare) / 100) + 1)
    return list(islice((each for each in range(first, last + 1) if shown.fits(100 * each / n)), _MOST_SHOWN + 1))


def _rate(k: int, n: int, shown: Printed) -> str:
    return f"{100 * k / n:.{max(shown.decimals, 1)}f}"


def _difference(pair: Counts, shown: Printed) -> ReportedItem:
    if not pair.n or not pair.n_ref:
        return judged("difference", shown, OPEN, "A group has nobody in it: there is no difference to check.")
    scale = 100.0 if _says_percent(shown) else 1.0
    value = scale * (pair.k / pair.n - pair.k_ref / pair.n_ref)
    either_way = {"risk difference": value, "risk difference, groups swapped": -value}
    return judge_number("difference", shown, either_way, None)


def _ratio(pair: Counts, shown: Printed, measure: str | None) -> ReportedItem:
    swapped = {f"{name}, groups swapped": value for name, value in ratios(pair.swapped()).items()}
    return judge_number("ratio", shown, {**ratios(pair), **swapped}, measure)


def _p_value(pair: Counts, shown: Printed, test: str | None) -> ReportedItem:
    if test is not None and test not in TESTS:
        raise unknown_choice("test of two shares", test, TESTS)
    if test is not None:
        asked = {test: p_value_of(pair, test)}
        if shown.fits(asked[test]) or shown.cut_off(asked[test]):
            return judge_number("p", shown, asked, test, TEST_TITLES)
    return judge_number("p", shown, p_values(pair), test, TEST_TITLES)


def _limits_of(kind: str, k: int, n: int, pair: Counts | None, level: float) -> Mapping[str, Limits]:
    if kind == "share":
        return share_limits(k, n, level) if n else {}
    if not pair.n or not pair.n_ref:
        return {}
    return (ratio_limits if kind == "ratio" else difference_limits)(pair, level)
