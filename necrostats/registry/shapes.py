"""Texts by shape: the shape of a text is the text with every ASCII digit turned into one. A column of ids has few."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

MOST_DIGITS = 18
"""The longest number that a group of texts gives as whole numbers of 64 bits."""

_BLOCK = 1 << 16
_DIGITS_OF_32_BITS = 9
_ZERO = np.uint8(ord("0"))
_DIGITS, _ONES = "023456789", "1" * 9
_ANY_DIGIT = str.maketrans(_DIGITS, _ONES)
_ANY_DIGIT_BYTE = bytes.maketrans(_DIGITS.encode(), _ONES.encode())


def shape_of(text: str) -> str:
    """The text with every ASCII digit turned into one."""
    return text.translate(_ANY_DIGIT)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Group:
    """The texts (n,) of one shape, and their places (n,) in the column, in rising order."""

    shape: str
    places: np.ndarray
    column: np.ndarray
    kept: dict[str, np.ndarray]

    def __len__(self) -> int:
        return len(self.places)

    @property
    def texts(self) -> np.ndarray:
        return self.column[self.places]

    @property
    def digits(self) -> int:
        """How many ASCII digits each text holds."""
        return self.shape.count("1")

    def numbers(self) -> np.ndarray:
        """(n,) the digits of each text read as one whole number; for ASCII shapes of up to MOST_DIGITS digits."""
        if self.shape not in self.kept:
            self.kept[self.shape] = self._numbers()
        return self.kept[self.shape]

    def _numbers(self) -> np.ndarray:
        columns = np.array([place for place, each in enumerate(self.shape) if each == "1"], dtype=np.intp)
        kind = np.int32 if self.digits <= _DIGITS_OF_32_BITS else np.int64
        powers = 10 ** np.arange(self.digits - 1, -1, -1, dtype=kind)
        return np.concatenate(
            [(_characters(self.column[block])[:, columns] - _ZERO) @ powers for block in in_blocks(self.places)]
        )


def in_blocks(whole: np.ndarray) -> Iterator[np.ndarray]:
    """An array piece by piece, so that what is made of it takes little room."""
    yield from (whole[start : start + _BLOCK] for start in range(0, len(whole), _BLOCK))


def _characters(texts: np.ndarray) -> np.ndarray:
    """The characters of ASCII texts of one length: (n, length)."""
    return np.frombuffer("".join(texts).encode("ascii"), dtype=np.uint8).reshape(len(texts), -1)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Shaped:
    """The texts (U,) of a column, their shapes, each once, and which of them each text has (U,); -1 = left out."""

    texts: np.ndarray
    shapes: tuple[str, ...]
    which: np.ndarray
    kept: dict[str, np.ndarray] = field(default_factory=dict)

    def __len__(self) -> int:
        return int(np.count_nonzero(self.which >= 0))

    def without(self, shapes: Iterable[bool]) -> Shaped:
        """The same with the texts of some shapes (S,) left out."""
        left_out = np.array([*shapes, False], dtype=bool)
        if not left_out.any():
            return self
        return replace(self, which=np.where(left_out[self.which], -1, self.which))

    def groups(self) -> Iterator[Group]:
        """The texts of each shape, in the order of the shapes."""
        kept = np.flatnonzero(self.which >= 0)
        which = self.which[kept]
        places = kept if (np.diff(which) >= 0).all() else kept[np.argsort(which, kind="stable")]
        sizes = np.bincount(which, minlength=len(self.shapes))
        for number, end in zip(np.flatnonzero(sizes), np.cumsum(sizes[sizes > 0]), strict=True):
            mine = places[end - sizes[number] : end]
            yield Group(shape=self.shapes[number], places=mine, column=self.texts, kept=self.kept)


def shaped(texts: Sequence[str] | Shaped) -> Shaped:
    """Texts with their shapes."""
    if isinstance(texts, Shaped):
        return texts
    column = np.asarray(texts, dtype=object)
    seen: defaultdict[str, int] = defaultdict()
    seen.default_factory = seen.__len__
    which = np.concatenate([np.empty(0, np.int32), *(_which(block, seen) for block in in_blocks(column))])
    return Shaped(texts=column, shapes=tuple(seen), which=which)


def _which(block: np.ndarray, seen: Mapping[str, int]) -> np.ndarray:
    """Which shape each text of a block has, the block turned to shapes all at once."""
    whole = "\n".join(block).encode("utf-8", "surrogatepass").translate(_ANY_DIGIT_BYTE) + b"\n"
    first = whole[: whole.index(b"\n") + 1]
    if whole == first * len(block):
        return np.full(len(block), seen[_decoded(first)[:-1]], dtype=np.int32)
    shapes = _decoded(whole).split("\n")[:-1]
    if len(shapes) != len(block):
        shapes = map(shape_of, block)
    return np.fromiter(map(seen.__getitem__, shapes), np.int32, len(block))


def _decoded(shapes: bytes) -> str:
    return shapes.decode("utf-8", "surrogatepass")
