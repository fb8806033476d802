"""Text to tokens, and a number as written to its value, where it has only one."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from necrostats.registry.text import LONGEST, Unread, plain

DecimalSign = Literal[".", ","]
_LONGEST_WHOLE = 7
_LONGEST_DECIMALS = 30

_TOKEN = re.compile(
    r"""
    (?P<number> [0-9]{1,3}(?:\u2009[0-9]{3})+(?![0-9])(?:[.,][0-9]+)?      # 12 000, thin space
              | [0-9][ ][0-9]{3}(?![0-9])(?:[.,][0-9]+)?                   # 1 200, any space
              | [0-9]{1,3}(?:['\u066c][0-9]{3})+(?![0-9])(?:[.,\u066b][0-9]+)?
              | [0-9]+(?:[.,\u066b][0-9]+)*
              | (?<![\w.,])[.,][0-9]+ )
  | (?P<word>   cm\^?[3\u00b3](?![0-9]) | [^\W\d_]+ )
  | (?P<sign>   \.{2,3} | >= | <= | \+/- | [^\w\s] | _ | \w )
  | \s+
    """,
    re.VERBOSE,
)
_GROUP_MARK = re.compile("[' \u2009\u066c]")
_DECIMAL_MARK = re.compile("[.,\u066b]")


@dataclass(frozen=True, kw_only=True)
class Token:
    """One number, word or sign; `glued` when nothing parts it from the token before."""

    kind: str
    text: str
    glued: bool = False


def tokens_of(text: str) -> tuple[Token, ...]:
    """The tokens of a cell; Unread if it is longer than any amount."""
    if len(text.strip()) > LONGEST:
        raise Unread("is too long to be one value")
    found = list(_TOKEN.finditer(plain(text)))
    return tuple(
        Token(kind=match.lastgroup, text=match.group(), glued=place > 0 and found[place - 1].lastgroup is not None)
        for place, match in enumerate(found)
        if match.lastgroup is not None
    )


def has_loose_group(token: Token) -> bool:
    """Whether a number is read across an ordinary space ("1 200"), which could also part two numbers."""
    return token.kind == "number" and " " in token.text


def numeral(text: str, decimal: DecimalSign | None) -> Decimal:
    """The value of a number as written; Unread where it has two readings or contradicts the declared sign.

    "1,5" and "0.300" have one reading. "1.200" and "1,200" have two, unless the decimal sign is declared.
    """
    body = _GROUP_MARK.sub("", text)
    marks = _DECIMAL_MARK.findall(body)
    grouped = body != text
    if "\u066b" in marks:
        value = _with_arabic_mark(body, marks)
    elif not marks:
        value = body
    elif len(marks) == 1:
        value = _with_one_mark(body, marks[0], decimal, grouped)
    else:
        value = _with_many_marks(body, marks, decimal)
    return _checked(value)


def _with_arabic_mark(body: str, marks: list[str]) -> str:
    if len(marks) > 1:
        raise Unread("has more than one decimal sign")
    return body.replace("\u066b", ".")


def _with_one_mark(body: str, mark: str, decimal: str | None, grouped: bool) -> str:
    head, tail = body.split(mark)
    thousands = not grouped and len(tail) == 3 and 1 <= len(head) <= 3 and not head.startswith("0")
    if decimal == mark:
        return f"{head or 0}.{tail}"
    if decimal is not None:
        if not thousands:
            raise Unread(f'does not have the decimal sign that the layout gives ("{decimal}")')
        return head + tail
    if thousands or (mark == "," and len(tail) == 3 and not grouped and head.strip("0")):
        raise Unread("may give thousands or decimals, and the layout does not give the decimal sign")
    if not head and mark == ",":
        raise Unread("starts with a comma")
    return f"{head or 0}.{tail}"


def _with_many_marks(body: str, marks: list[str], decimal: str | None) -> str:
    last = marks[-1]
    if len(set(marks)) == 1:
        group, whole, tail = last, body, ""
        if decimal == last:
            raise Unread("has more than one decimal sign")
    else:
        whole, tail = body.rsplit(last, 1)
        group = marks[0]
        if set(marks[:-1]) != {group} or group == last or decimal == group:
            raise Unread("mixes its decimal signs")
    first, *others = whole.split(group)
    if not 1 <= len(first) <= 3 or first.startswith("0") or any(len(other) != 3 for other in others):
        raise Unread("is not one number")
    return f"{first}{''.join(others)}.{tail or 0}"


def _checked(value: str) -> Decimal:
    whole, _, decimals = value.partition(".")
    if len(whole) > 1 and whole.startswith("0"):
        raise Unread("starts with a zero, as codes and dates do")
    if len(whole) > _LONGEST_WHOLE or len(decimals) > _LONGEST_DECIMALS:
        raise Unread("has more digits than an amount can have")
    return Decimal(value)
