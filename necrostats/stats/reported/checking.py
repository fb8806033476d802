"""Whether printed figures can be right, given the counts printed beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.stats import checks
from necrostats.stats.comparisons.choosing import TESTS
from necrostats.stats.reported.candidates import (
    TEST_TITLES,
    Counts,
    Limits,
    difference_limits,
    p_values,
    ratio_limits,
    ratios,
    share_limits,
)
from necrostats.stats.reported.judging import (
    CUT,
    FITS,
    OPEN,
    WRONG,
    ReportedItem,
    judge_interval,
    judge_number,
    judged,
)
from necrostats.stats.reported.printed import Printed, printed
from necrostats.stats.reported.showing import NOTHING, check_table


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
        return check_table(self.items)

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
    or an interval of shares is a share, or in percent when one of its numbers is beyond 1. Rounding is half a unit of
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
    possible = [each for each in range(n + 1) if shown.fits(100 * each / n)]
    whole = ", ".join(map(str, possible[:6])) + (" …" if len(possible) > 6 else "")
    if k is None:
        verdict = FITS if possible else WRONG
        nearest = min(range(n + 1), key=lambda each: abs(100 * each / n - shown.value))
        nothing = f"no whole number of {n} is {shown.text} %; the nearest is {nearest}, {_rate(nearest, n, shown)} %."
        found = f"{shown.text} % of {n} can be {whole}."
        return judged("percent", shown, verdict, found if possible else nothing[0].upper() + nothing[1:])
    if k in possible:
        return judged("percent", shown, FITS, f"{k} of {n} is {_rate(k, n, shown)} %, as printed.")
    if shown.cut_off(100 * k / n):
        sentence = f"{k} of {n} is {_rate(k, n, shown)} %; {shown.text} % is what is left when digits are cut off."
        return judged("percent", shown, CUT, sentence)
    instead = f"{shown.text} % would be {whole}" if possible else f"no whole number of {n} is {shown.text} %"
    return judged("percent", shown, WRONG, f"{k} of {n} is {_rate(k, n, shown)} %, not {shown.text} %; {instead}.")


def _rate(k: int, n: int, shown: Printed) -> str:
    return f"{100 * k / n:.{max(shown.decimals, 1)}f}"


def _difference(pair: Counts, shown: Printed) -> ReportedItem:
    if not pair.n or not pair.n_ref:
        return judged("difference", shown, OPEN, "A group has nobody in it: there is no difference to check.")
    scale = 100.0 if abs(shown.value) > 1 else 1.0
    value = scale * (pair.k / pair.n - pair.k_ref / pair.n_ref)
    either_way = {"risk difference": value, "risk difference, groups swapped": -value}
    return judge_number("difference", shown, either_way, None)


def _ratio(pair: Counts, shown: Printed, measure: str | None) -> ReportedItem:
    swapped = {f"{name}, groups swapped": value for name, value in ratios(pair.swapped()).items()}
    return judge_number("ratio", shown, {**ratios(pair), **swapped}, measure)


def _p_value(pair: Counts, shown: Printed, test: str | None) -> ReportedItem:
    if test is not None and test not in TESTS:
        raise unknown_choice("test of two shares", test, TESTS)
    return judge_number("p", shown, p_values(pair), test, TEST_TITLES)


def _limits_of(kind: str, k: int, n: int, pair: Counts | None, level: float) -> Mapping[str, Limits]:
    if kind == "share":
        return share_limits(k, n, level) if n else {}
    if not pair.n or not pair.n_ref:
        return {}
    return (ratio_limits if kind == "ratio" else difference_limits)(pair, level)
