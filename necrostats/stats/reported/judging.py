"""The verdict on one printed figure, held against what each method gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from necrostats.errors import unknown_choice
from necrostats.stats.reported.candidates import Limits
from necrostats.stats.reported.printed import Printed

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
    scale = 100.0 if in_percent and max(abs(low.value), abs(high.value)) > 1 else 1.0
    at = {name: Limits(low=scale * each.low, high=scale * each.high) for name, each in real.items()}
    fitting = tuple(name for name, each in at.items() if low.fits(each.low) and high.fits(each.high))
    cut = tuple(name for name, each in at.items() if name not in fitting and _nearly(low, each.low, high, each.high))
    digits = max(low.decimals, high.decimals) + 1
    values = "; ".join(f"{name} {each.low:.{digits}f} to {each.high:.{digits}f}" for name, each in at.items())
    return _verdict("interval", text, fitting, cut, named, values, _AS_NAMED)


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
