"""How numbers are written: one set of rounding rules for figures, tables and sentences.

Percentages are whole numbers below n = 100; from there one decimal where they lie below 10 %.
Limits take the decimals of their estimate. The upper limit of no events has one decimal. p has 2 significant digits.

Where numbers are too small: no rate below 5 patients, a faint curve below 10 at risk, no mean of a handful.
"""

from __future__ import annotations

import math
import re
from decimal import ROUND_HALF_UP, Decimal

import pandas as pd

MINUS = "\N{MINUS SIGN}"
NO_INTERVAL = "no interval"
NOT_REACHED = "not reached"
ONE_DECIMAL_FROM = 100
_INTERVAL_NAME = re.compile(r"\d[\d.]* % CI\b")


def known(value: object) -> bool:
    """Whether a value is there: not blank and not NaN."""
    return value is not None and not pd.isna(value)


def rounded(value: float, decimals: int = 0) -> str:
    """A number with so many decimals, halves away from zero, commas at thousands and a true minus sign."""
    if math.isinf(value):
        return "no limit"
    exact = Decimal(repr(round(float(value), 9))).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    text = f"{abs(exact):,}"
    return MINUS + text if exact < 0 else text


def count(value: object) -> str:
    """A whole number; blank if not known."""
    return rounded(float(value)) if known(value) else ""


def plain_number(value: object) -> str:
    """A number of days, years, points: whole if it is whole, else one decimal; blank if not known."""
    if not known(value):
        return ""
    return rounded(value, 0 if float(value).is_integer() else 1)


def amount_decimals(value: float) -> int:
    """The decimals of a mean, ratio or rate: about three digits that mean something."""
    size = abs(value)
    steps = ((100, 0), (10, 1), (0.1, 2), (0.01, 3))
    return next((decimals for limit, decimals in steps if size >= limit), 4)


def amount(value: object) -> str:
    """A mean, ratio or rate; blank if not known."""
    if known(value) and value == 0:
        return "0"
    return rounded(value, amount_decimals(value)) if known(value) else ""


def percent_decimals(share: float, n: float) -> int:
    """Decimals of a percentage of n."""
    return int(n >= ONE_DECIMAL_FROM and share < 0.1)


def percent(share: object, n: float) -> str:
    """A share as "62 %"; never 0 % or 100 % unless it is exactly that; blank if not known."""
    if not known(share):
        return ""
    if share in (0, 1):
        return f"{share * 100:.0f} %"
    decimals = percent_decimals(share, n)
    least = 10**-decimals
    text = rounded(share * 100, decimals)
    if float(text.replace(MINUS, "-")) <= 0:
        return f"< {rounded(least, decimals)} %"
    return f"> {rounded(100 - least, decimals)} %" if float(text) >= 100 else f"{text} %"


def joined(low: str, high: str) -> str:
    """Two ends of a range: with a dash, or with "to" where a dash could be read as a minus or as a word's hyphen."""
    plain = not any(MINUS in end or " " in end for end in (low, high))
    return f"{low}–{high}" if plain else f"{low} to {high}"


def percent_range(share: object, low: object, high: object, n: float) -> str:
    """The limits of a share as "54–69", without the sign; "no interval" if there is none."""
    if not (known(low) and known(high)):
        return NO_INTERVAL
    decimals = percent_decimals(share, n) if known(share) else 0
    if share == 0:
        return joined("0", rounded(high * 100, 1))
    return joined(rounded(low * 100, decimals), rounded(high * 100, decimals))


def amount_range(estimate: object, low: object, high: object) -> str:
    """The limits of a mean, ratio or rate, with its decimals; "no interval" if there is none."""
    if not (known(low) and known(high)):
        return NO_INTERVAL
    if estimate == 0 and low == 0:
        return joined("0", amount(high))
    decimals = amount_decimals(estimate if known(estimate) and estimate else high)
    far = known(estimate) and abs(high) >= 10 * abs(estimate)
    return joined(rounded(low, decimals), rounded(high, min(decimals, amount_decimals(high)) if far else decimals))


def reached(value: object) -> str:
    """A median or one of its limits; never infinity."""
    return plain_number(value) if known(value) and not math.isinf(value) else NOT_REACHED


def p_value(p: object) -> str:
    """A p-value as "p = 0.023" or "p < 0.001"; blank if not known."""
    if not known(p):
        return ""
    if p < 0.001:
        return "p < 0.001"
    if p > 0.99:
        return "p > 0.99"
    short = float(f"{p:.1e}")
    return f"p = {rounded(short, 1 - math.floor(math.log10(short)))}"


def level_name(level: float) -> str:
    """A confidence level as "95 %"."""
    return f"{level * 100:g} %"


def interval_name(level: float) -> str:
    """The name of an interval as "95 % CI"."""
    return f"{level_name(level)} CI"


def tied(heading: str) -> str:
    """A heading in which no line break parts the name of an interval: "% (95 % CI)" keeps its bracket whole."""
    return _INTERVAL_NAME.sub(lambda name: name[0].replace(" ", "\N{NO-BREAK SPACE}"), heading)


def one_sided(level: float) -> str:
    """The one-sided level of the upper end of a two-sided interval, as "97.5 %"."""
    return level_name(1 - (1 - level) / 2)


FEWEST_FOR_A_RATE = 5
FEWEST_FOR_A_CURVE = 10
FEWEST_AT_RISK = 10
FEWEST_SESSIONS_FOR_A_MEAN, FEWEST_PATIENTS_FOR_A_MEAN = 5, 3
TOO_FEW = "too few"
NOBODY = "nobody at risk"
NO_VALUES = "no values"
NOT_DETERMINED = "not determined"


def _few_patients(table: pd.DataFrame) -> pd.Series:
    """Whether a row's variable and group has between 1 and 4 patients, in whatever unit the row itself is."""
    patients = table.loc[table["unit"].astype(object) == "patients", ["variable", "group", "n"]]
    few = patients[(patients["n"] > 0) & (patients["n"] < FEWEST_FOR_A_RATE)]
    named = set(zip(few["variable"].astype(object), few["group"].astype(object), strict=True))
    keys = zip(table["variable"].astype(object), table["group"].astype(object), strict=True)
    return pd.Series([key in named for key in keys], index=table.index, dtype=bool)


def too_few_for_a_rate(table: pd.DataFrame) -> pd.Series:
    """Rows of a Rates table that may be listed but not given as a rate."""
    own = (table["per"] == 1) & (table["n"] > 0) & (table["n"] < FEWEST_FOR_A_RATE)
    return own | _few_patients(table)


def too_few_to_summarise(table: pd.DataFrame) -> pd.Series:
    """Rows of a Summary table that have values, but too few for a share, a median or a mean of yields."""
    few = (table["n"] > 0) & (table["n"] < FEWEST_FOR_A_RATE)
    is_mean = table["measure"].astype(object) == "geometric mean"
    with_yield = table["n"] - table["events"].fillna(0)
    short = (with_yield < FEWEST_SESSIONS_FOR_A_MEAN) | (table["patients"] < FEWEST_PATIENTS_FOR_A_MEAN)
    return few | (is_mean & (table["n"] > 0) & short)
