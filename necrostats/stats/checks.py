"""Checks of numbers before anything is computed; each failure is a StatisticsError in plain words."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import StatisticsError

_DATED = (date, timedelta)
LARGEST, MOST_CODES = 2.0**53, 1000


def confidence_level(level: float) -> float:
    """The level as a float; StatisticsError unless it lies between 0 and 1."""
    value = numbers("level", level)
    if value.ndim or not 0 < value < 1:
        raise StatisticsError(f"level is {level}: write it as a share between 0 and 1, such as 0.95 for 95 %.")
    return float(value)


def probability(name: str, value: float) -> float:
    """The value as a float; StatisticsError unless it lies between 0 and 1."""
    number = numbers(name, value)
    if number.ndim or not 0 < number < 1:
        raise StatisticsError(f"{name} is {value}: it must lie between 0 and 1.")
    return float(number)


def finite(name: str, values: ArrayLike) -> np.ndarray:
    """The values as floats; StatisticsError if one is missing or infinite."""
    array = numbers(name, values)
    refuse(name, array, ~np.isfinite(array), "is missing or infinite. Leave such rows out and count them.")
    return array


def not_negative(name: str, values: ArrayLike) -> np.ndarray:
    """The values as floats; StatisticsError if one is missing, infinite or below 0."""
    array = finite(name, values)
    refuse(name, array, array < 0, "is below 0.")
    return array


def positive(name: str, value: float) -> float:
    """One number above 0."""
    array = finite(name, value)
    if array.ndim or not array > 0:
        raise StatisticsError(f"{name} is {value}: it must be one number above 0.")
    return float(array)


def counts(name: str, values: ArrayLike) -> np.ndarray:
    """The values as floats; StatisticsError unless each is a whole number, 0 or more, and small enough to be exact."""
    array = not_negative(name, values)
    refuse(name, array, array > LARGEST, "is too large to be counted one by one.")
    refuse(name, array, array != np.floor(array), "is not a whole number.")
    return array


def times(name: str, values: ArrayLike) -> np.ndarray:
    """Times 0 or later, as whole numbers if they all are; StatisticsError if one is missing, infinite or below 0."""
    array = array_of(name, values)
    if array.dtype.kind in "iub":
        refuse(name, array, _below_zero(array), "is below 0.")
        return array.astype(np.intp, copy=False)
    array = not_negative(name, array)
    whole = array.max(initial=0.0) < 2.0**53 and np.array_equal(array, np.floor(array))
    return array.astype(np.intp) if whole else array


def one_axis(*arrays: np.ndarray | None) -> tuple[np.ndarray | None, ...]:
    """Times that differ by rounding only made one, over all arrays together; whole numbers stay as they are.

    Two neighbours are one where they differ by less than 1.5e-8 (the root of the machine's precision) of the mean time,
    as R's survival takes them.
    """
    given = [array for array in arrays if array is not None]
    if all(array.dtype.kind in "iub" for array in given) or not sum(array.size for array in given):
        return arrays
    every = np.unique(np.concatenate([array.ravel() for array in given]).astype(float))
    near = np.diff(every) <= np.sqrt(np.finfo(float).eps) * np.abs(every).mean()
    if not near.any():
        return arrays
    first = every[np.maximum.accumulate(np.where(np.append(True, ~near), np.arange(every.size), 0))]
    return tuple(None if array is None else first[np.searchsorted(every, array)] for array in arrays)


def ranges(left: ArrayLike, right: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Ends of ranges (n,), the right one infinite where it was missing; ends that differ by rounding only are one."""
    low, high = not_negative("left", left), numbers("right", right)
    one_length(left=low, right=high)
    high = np.where(np.isnan(high), np.inf, high)
    known = np.isfinite(high)
    low, high[known] = one_axis(low, high[known])
    why = "is before its left end. Correct the range, or leave it out and count it."
    refuse("right", high, high < low, why)
    return low, high


def snapped(values: np.ndarray, axis: np.ndarray) -> np.ndarray:
    """Times that differ from one of `axis` (T,), ascending, by rounding only made that one; others as they are."""
    if not axis.size or not values.size or (axis.dtype.kind == "i" and values.dtype.kind in "iub"):
        return values
    above = np.minimum(np.searchsorted(axis, values), axis.size - 1)
    below = np.maximum(above - 1, 0)
    nearest = np.where(np.abs(axis[above] - values) <= np.abs(axis[below] - values), axis[above], axis[below])
    near = np.abs(nearest - values) <= np.sqrt(np.finfo(float).eps) * np.abs(axis).mean()
    return np.where(near, nearest, values)


def seed(value: object) -> np.random.Generator:
    """A generator of random numbers from a Generator or a seed; StatisticsError for anything else."""
    if isinstance(value, np.random.Generator):
        return value
    if isinstance(value, bool) or not isinstance(value, int | np.integer) or value < 0:
        raise StatisticsError(f"{value!r} is no seed: give a whole number, 0 or more, or a numpy Generator.")
    return np.random.default_rng(int(value))


def codes(name: str, values: ArrayLike) -> np.ndarray:
    """Whole numbers, 0 to 1,000, in an array of whole numbers or of yes and no."""
    array = array_of(name, values)
    if array.dtype.kind in "iub":
        refuse(name, array, _below_zero(array), "is below 0.")
    else:
        array = counts(name, array).astype(np.intp)
    if array.size and array.max() > MOST_CODES:
        refuse(name, array, array > MOST_CODES, "is no code: number what is meant 1, 2, 3.")
    return array


def events_of(events: ArrayLike, n: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Events and denominators of one shape; StatisticsError if there are more events than subjects."""
    k, total = broadcast(events=counts("events", events), n=counts("n", n))
    refuse("events", k, k > total, "is more than its n.")
    return k, total


def broadcast(**arrays: np.ndarray) -> tuple[np.ndarray, ...]:
    """The arrays stretched to one shape; StatisticsError if they do not fit."""
    try:
        return tuple(np.broadcast_arrays(*arrays.values()))
    except ValueError:
        raise StatisticsError(_lengths(arrays)) from None


def one_length(**arrays: ArrayLike | None) -> None:
    """StatisticsError unless every array given is one-dimensional and they are all equally long."""
    given = {name: array_of(name, values) for name, values in arrays.items() if values is not None}
    if any(array.ndim != 1 for array in given.values()) or len({array.size for array in given.values()}) > 1:
        raise StatisticsError(_lengths(given))


def labels(name: str, values: ArrayLike) -> np.ndarray:
    """The labels as an array; StatisticsError if one is missing."""
    array = array_of(name, values)
    if array.dtype.kind in "US" and not isinstance(values, np.ndarray):
        array = np.asarray(values, dtype=object)
    missing = array != array if array.dtype.kind in "fM" else np.zeros(array.shape, dtype=bool)
    if array.dtype.kind == "O":
        missing = np.array([_is_missing(each) for each in array.ravel()], dtype=bool)
    refuse(name, array, missing, "is missing. Give every row a label, or leave the row out and count it.")
    if array.dtype.kind == "O" and len({isinstance(each, str) for each in array.ravel()}) > 1:
        raise StatisticsError(f"{name} mixes texts and numbers. Write all its labels in one way.")
    if array.dtype.kind == "O" and not _in_order(array):
        raise StatisticsError(f"{name} mixes kinds of labels that have no order. Write all its labels in one way.")
    return np.asarray(values) if array.dtype.kind == "O" else array


def names(name: str, values: ArrayLike) -> np.ndarray:
    """Labels in a list (g,), none missing and none twice; StatisticsError for anything else."""
    array = labels(name, list(values) if isinstance(values, range | tuple) else values)
    if array.ndim != 1:
        raise StatisticsError(f"{name} needs a list of names.")
    if len(set(array.tolist())) < array.size:
        raise StatisticsError(f"{name} names one {name.removesuffix('s')} twice.")
    return np.asarray(values)


def _in_order(labels: np.ndarray) -> bool:
    """Whether every label can stand before or after every other."""
    try:
        sorted(labels.ravel().tolist())
    except TypeError:
        return False
    return True


def _is_missing(value: object) -> bool:
    """Whether a label is None, not-a-number, or a missing value that will not even say whether it equals itself."""
    try:
        return value is None or bool(value != value)
    except TypeError:
        return True


def array_of(name: str, values: ArrayLike) -> np.ndarray:
    """The values as an array; StatisticsError where rows are not equally long."""
    try:
        return np.asarray(values)
    except ValueError:
        raise StatisticsError(f"{name} holds rows of different lengths. Give one value a row.") from None


def listed(name: str, values: ArrayLike) -> np.ndarray:
    """The values as an array of one or more; a single one is a list of one."""
    return np.atleast_1d(array_of(name, values))


def columns(name: str, values: ArrayLike) -> np.ndarray:
    """Numbers (n, p), from a table or from a list taken as one column; StatisticsError for anything else."""
    array = finite(name, values)
    if not 1 <= array.ndim <= 2:
        raise StatisticsError(f"{name} needs a row for each time: give a list of numbers, or a table of them.")
    return array[:, None] if array.ndim == 1 else array


def numbers(name: str, values: ArrayLike) -> np.ndarray:
    """The values as floats, missing and infinite ones too; StatisticsError if one is not a number."""
    given = array_of(name, values)
    loose = given.dtype.kind == "O"
    if given.dtype.kind in "mM" or (loose and any(isinstance(each, _DATED) for each in given.ravel())):
        raise StatisticsError(f"{name} holds dates or lengths of time. Give days as numbers, counted from day 0.")
    if given.dtype.kind in "US" or (loose and any(isinstance(each, str) for each in given.ravel())):
        raise StatisticsError(f"{name} holds text. Give numbers, without quotation marks.")
    if given.dtype.kind == "c":
        raise StatisticsError(f"{name} holds complex numbers. Give plain numbers.")
    try:
        return np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError):
        raise StatisticsError(f"{name} holds something that is not a number. Give numbers only.") from None


def _below_zero(whole: np.ndarray) -> np.ndarray | bool:
    """Where whole numbers are below 0: a look at the smallest usually settles it."""
    return whole < 0 if whole.size and whole.min() < 0 else False


def refuse(name: str, array: np.ndarray, wrong: np.ndarray, why: str) -> None:
    """StatisticsError about the first value marked wrong: which it is, its value and why; silence if none is."""
    if not np.any(wrong):
        return
    first = int(np.argmax(wrong))
    place = f" number {first + 1:,}" if array.size > 1 else ""
    value = np.ravel(array)[first]
    written = f"{value:g}" if array.dtype.kind == "f" else str(value)
    more = int(np.count_nonzero(wrong)) - 1
    others = f" ({more:,} more like it.)" if more else ""
    raise StatisticsError(f"{name}{place}: {written} {why}{others}")


def _lengths(arrays: dict[str, np.ndarray]) -> str:
    sizes = ", ".join(f"{name} {' × '.join(map(str, array.shape)) or 'one number'}" for name, array in arrays.items())
    return f"The numbers do not line up: {sizes}. Give one value a row in each."
