"""Yields as five people write them. Each form is written beside what it must become; nothing here reads an amount."""

from __future__ import annotations

from collections.abc import Callable

from messy_export.cells import ASKED, EITHER, SET_ASIDE, UNKNOWN, Formula, Typed
from messy_export.people import BLANKS, Pen, weighted
from messy_export.unit import Row

EXACT = weighted(
    bare=14,
    number=10,
    ml=12,
    joined=8,
    cc=6,
    litres=4,
    out_in=4,
    formula=2,
    remark=2,
    decilitres=1,
    comma=3,
    double_blank=1,
    product=2,
    sum=2,
    fraction=1,
    thousands=3,
    out_only=2,
    negative=3,
    pointing=3,
    report=3,
    error=1,
    no_result=1,
)
ABOUT = weighted(tilde_cc=4, tilde=3, about=3, approx=2, circa=1, after=1)
RANGE = weighted(hyphen=4, to=3, dash=2, spaced=2, backwards=3)
LESS = weighted(sign=3, up_to=3, sign_unit=2, than=1)
MORE = weighted(sign=2, equal=2, at_least=2, litre=1)
GRAMS = weighted(g=3, joined=2, kg=1)
WORDS = {
    "trace": ("minimal", "scant", "trace"),
    "small": ("small", "a little"),
    "moderate": ("moderate",),
    "large": ("large amt", "lots"),
    "none": ("nil", "none"),
}


def _amount(value: object, low: object, high: object, unit: str = "ml", about: bool = False, **rest: object) -> Typed:
    fills = {"yield_low": str(low), "yield_high": str(high), "yield_unit": unit}
    if about:
        fills["yield_approximate"] = "yes"
    return Typed(value=value, fills=fills, **rest)  # type: ignore[arg-type]


def _lost(value: object, mess: str) -> Typed:
    return Typed(value=value, fate=SET_ASIDE, mess=mess)  # type: ignore[arg-type]


def _out_in(ml: int) -> Typed:
    fills = {
        "yield_low": str(ml),
        "yield_high": str(ml),
        "yield_unit": "ml",
        "lavage_in_ml": "1000",
        "yield_includes_lavage": "no",
    }
    return Typed(
        value=f"{(ml + 1000) / 1000:g} L out (1 L in)" if ml % 100 == 0 else f"{ml + 1000} ml out (1 L in)",
        fills=fills,
        mess="out and in",
    )


_EXACT: dict[str, Callable[[int], Typed]] = {
    "bare": lambda ml: _amount(str(ml), ml, ml),
    "number": lambda ml: _amount(ml, ml, ml),
    "ml": lambda ml: _amount(f"{ml} ml", ml, ml),
    "joined": lambda ml: _amount(f"{ml}ml", ml, ml),
    "double blank": lambda ml: _amount(f"  {ml} \u00a0ml ", ml, ml),
    "cc": lambda ml: _amount(f"{ml} cc", ml, ml, mess="cubic centimetres"),
    "litres": lambda ml: _amount(f"{ml / 1000:g} L", ml, ml, mess="litres"),
    "out in": _out_in,
    "formula": lambda ml: _amount(Formula(text=f"={ml // 2}+{ml - ml // 2}", result=ml), ml, ml, mess="formula"),
    "remark": lambda ml: _amount(f"{ml} ml (thick pus)", ml, ml, reading=EITHER, mess="trailing remark"),
    "decilitres": lambda ml: _amount(f"{ml / 100:g} dl", ml, ml, reading=EITHER),
    "comma": lambda ml: _amount(f"{ml / 1000:g} L".replace(".", ","), ml, ml, reading=EITHER, mess="decimal comma"),
    "product": lambda ml: _lost(f"2 x {max(ml // 2, 10)} ml", "arithmetic"),
    "sum": lambda ml: _lost(f"{ml // 2} + {ml - ml // 2}", "arithmetic"),
    "fraction": lambda ml: _lost("1/2 L", "arithmetic"),
    "thousands": lambda ml: _lost("1.200 ml", "decimal sign not said"),
    "out only": lambda ml: Typed(
        value=f"{min(ml + 100, 900)} ml out (1 L in)",
        fills={"lavage_in_ml": "1000"},
        reading=ASKED,
        mess="out and in",
    ),
    "negative": lambda ml: _lost(f"-{max(ml, 5)} ml", "negative"),
    "pointing": lambda ml: _lost(("as before", "same", "idem", '"')[ml % 4], "points elsewhere"),
    "report": lambda ml: Typed(value="see report", fate=UNKNOWN, mess="see report"),
    "error": lambda ml: _lost(Formula(text="=1/0", result="#DIV/0!"), "formula with an error"),
    "no result": lambda ml: _lost(Formula(text=f"={ml}*1", result=None), "formula without a result"),
}
_ABOUT: dict[str, Callable[[int], Typed]] = {
    "tilde cc": lambda ml: _amount(f"~{ml} cc", ml, ml, about=True, mess="about"),
    "tilde": lambda ml: _amount(f"~{ml}", ml, ml, about=True, mess="about"),
    "about": lambda ml: _amount(f"about {ml} ml", ml, ml, about=True, mess="about"),
    "approx": lambda ml: _amount(f"approx {ml}", ml, ml, about=True, reading=EITHER, mess="about"),
    "circa": lambda ml: _amount(f"ca. {ml} ml", ml, ml, about=True, reading=EITHER, mess="about"),
    "after": lambda ml: _amount(f"{ml} ml approx.", ml, ml, about=True, reading=EITHER, mess="about"),
}
_RANGE: dict[str, Callable[[int, int], Typed]] = {
    "hyphen": lambda low, high: _amount(f"{low}-{high}", low, high, mess="range"),
    "to": lambda low, high: _amount(f"{low} to {high}", low, high, mess="range"),
    "dash": lambda low, high: _amount(f"{low}–{high} ml", low, high, mess="range"),
    "spaced": lambda low, high: _amount(f"{low} - {high} cc", low, high, mess="range"),
    "backwards": lambda low, high: _lost(f"{high}-{low}", "range backwards"),
}
_LESS: dict[str, Callable[[int], Typed]] = {
    "sign": lambda ml: _amount(f"<{ml}", 0, ml, mess="less than"),
    "up to": lambda ml: _amount(f"up to {ml}", 0, ml, mess="less than"),
    "sign unit": lambda ml: _amount(f"< {ml} ml", 0, ml, mess="less than"),
    "than": lambda ml: _amount(f"less than {ml} ml", 0, ml, reading=EITHER, mess="less than"),
}
_MORE: dict[str, Callable[[int], Typed]] = {
    "sign": lambda ml: _amount(f">{ml}", ml, "", mess="more than"),
    "equal": lambda ml: _amount(f"≥{ml}", ml, "", mess="more than"),
    "at least": lambda ml: _amount(f"at least {ml}", ml, "", mess="more than"),
    "litre": lambda ml: _amount(f">{ml / 1000:g} L", ml, "", mess="more than"),
}
_GRAMS: dict[str, Callable[[int], Typed]] = {
    "g": lambda mass: _amount(f"{mass} g", mass, mass, "g", mess="grams"),
    "joined": lambda mass: _amount(f"{mass}g", mass, mass, "g", mess="grams"),
    "kg": lambda mass: _amount(f"{mass / 1000:g} kg", mass, mass, "g", reading=EITHER, mess="grams"),
}


def type_yield(pen: Pen, session: Row) -> Typed:
    """The yield of one session, in a form dealt from the deck that fits what is known of it."""
    low, high, unit = session["yield_low"], session["yield_high"], session["yield_unit"]
    if session["yield_words"]:
        size = session["yield_words"]
        return Typed(value=pen.deal(size, WORDS[size]), fills={"yield_words": size}, mess="word")
    if not low:
        return Typed(value=pen.deal("blanks", BLANKS), fate=UNKNOWN, mess="blank word")
    if unit == "percent_cleared":
        about = session["yield_approximate"] == "yes"
        return _amount(f"{'~' * about}{low} % cleared", low, high, unit, about=about, reading=EITHER, mess="per cent")
    if unit == "g":
        return _grams(pen, low, high)
    return _millilitres(pen, int(low), high, session["yield_approximate"] == "yes")


def _grams(pen: Pen, low: str, high: str) -> Typed:
    if low == high:
        return _GRAMS[pen.deal("grams", GRAMS)](int(low))
    if not high:
        return _amount(f">{low} g", low, "", "g", mess="grams")
    return _amount(f"<{high} g" if low == "0" else f"{low}-{high} g", low, high, "g", mess="grams")


def _millilitres(pen: Pen, low: int, high: str, about: bool) -> Typed:
    if not high:
        return _MORE[pen.deal("more", MORE)](low)
    if low != int(high):
        return (
            _LESS[pen.deal("less", LESS)](int(high)) if low == 0 else _RANGE[pen.deal("range", RANGE)](low, int(high))
        )
    if low == 0:
        value = pen.deal("zero", ("0", 0, "0 ml", "nil"))
        return (
            Typed(value=value, fills={"yield_words": "none"}, mess="word")
            if value == "nil"
            else _amount(value, 0, 0, mess="zero")
        )
    return _ABOUT[pen.deal("about", ABOUT)](low) if about else _EXACT[pen.deal("exact", EXACT)](low)
