"""Roots of many functions at once, each inside its own bracket."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

Rows = np.ndarray
Function = Callable[[np.ndarray, Rows], np.ndarray]

STEPS = 200


def sign_changes(function: Function, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Where each row's function changes sign between `low` (n,) and `high` (n,), to the last few digits.

    `function(x, rows)` gives the values at `x` for the rows named (whole numbers, 0 to n − 1). A row whose ends
    have one sign gets the end nearer to 0. Chandrupatla TR. Adv Eng Softw 1997;28:145-149.
    """
    every = np.arange(low.size)
    a, b = high.astype(float), low.astype(float)
    at_a, at_b = function(a, every), function(b, every)
    root = np.where(np.abs(at_a) < np.abs(at_b), a, b)
    open_ = np.sign(at_a) * np.sign(at_b) < 0
    rows, a, b, at_a, at_b = (values[open_] for values in (every, a, b, at_a, at_b))
    share = np.full(rows.size, 0.5)
    for _ in range(STEPS):
        if not rows.size:
            break
        x = a + share * (b - a)
        at_x = function(x, rows)
        same = np.sign(at_x) == np.sign(at_a)
        c, at_c = np.where(same, a, b), np.where(same, at_a, at_b)
        b, at_b = np.where(same, b, a), np.where(same, at_b, at_a)
        a, at_a = x, at_x
        nearer = np.abs(at_a) < np.abs(at_b)
        root[rows] = np.where(nearer, a, b)
        least = 4 * np.spacing(np.abs(root[rows])) / np.abs(b - a)
        going = (least < 0.5) & (np.where(nearer, at_a, at_b) != 0)
        rows, a, b, c, at_a, at_b, at_c, least = (values[going] for values in (rows, a, b, c, at_a, at_b, at_c, least))
        share = np.clip(_next_share(a, b, c, at_a, at_b, at_c), least, 1 - least)
    return root


def _next_share(
    a: np.ndarray, b: np.ndarray, c: np.ndarray, at_a: np.ndarray, at_b: np.ndarray, at_c: np.ndarray
) -> np.ndarray:
    """How far from a to b to go: inverse quadratic interpolation where it can be trusted, else one half."""
    xi, phi = (a - b) / (c - b), (at_a - at_b) / (at_c - at_b)
    smooth = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
    share = np.full(a.size, 0.5)
    a, b, c, at_a, at_b, at_c = (values[smooth] for values in (a, b, c, at_a, at_b, at_c))
    by_b = at_a / (at_b - at_a) * at_c / (at_b - at_c)
    by_c = (c - a) / (b - a) * at_a / (at_c - at_a) * at_b / (at_c - at_b)
    share[smooth] = by_b + by_c
    return share


def rising_root(excess: Callable, slope: Callable, left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Where `excess`, rising, is 0 in each row: Newton in a bracket, halved where a step would leave it.

    A Newton step of 1e-7 of the bracket leaves an error of the square of that.
    """
    p, enough = (left + right) / 2, 1e-7 * (right - left)
    for _ in range(100):
        over = excess(p)
        left, right = np.where(over < 0, p, left), np.where(over < 0, right, p)
        newton = p - over / slope(p)
        inside = (newton >= left) & (newton <= right)
        following = np.where(inside, newton, (left + right) / 2)
        settled = np.abs(following - p) <= enough
        p = following
        if settled.all():
            break
    return p
