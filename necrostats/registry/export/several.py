"""Cells that hold several things: instruments in order, an event, collections; read whole or not at all."""

from __future__ import annotations

import re
from collections.abc import Mapping

from necrostats.registry.codebook import ADVERSE_EVENTS, COLLECTIONS, INSTRUMENT_USES
from necrostats.registry.export.names import folded
from necrostats.registry.export.readings import BLANK, Reading, refused
from necrostats.registry.export.words import NO_EVENT, known_words
from necrostats.registry.quantities.cells import LONGEST, plain

Words = Mapping[str, str]

_THEN = re.compile(r"\s*(?:->|→|;|,?\s*\bthen\b|\bfollowed by\b)\s*")
_AND = re.compile(r"\s*(?:[+&,/]|\band\b|\bwith\b)\s*")
_TIMES = re.compile(r"(?:\(?x\s?([0-9]{1,2})\)?|([0-9]{1,2})\s?x)")
_PIECE = re.compile(r"[^\W_]+(?:[-'][^\W_]+)*|\?+|[^\w\s]", re.UNICODE)
_NOT = frozenset(("no", "not", "without", "nil", "never", "denies", "non"))
_PERHAPS = frozenset(("possible", "possibly", "probable", "probably", "suspected", "query", "likely", "maybe"))
_REMARKS = frozenset(
    (
        "a", "an", "and", "the", "at", "of", "on", "in", "to", "by", "from", "after", "during", "then", "with", "minor",
        "mild", "moderate", "severe", "small", "large", "major", "stopped", "controlled", "settled", "resolved",
        "spontaneously", "self", "limiting", "limited", "self-limiting", "self-limited", "clip", "clips", "clipped",
        "treated", "transfused", "transfusion", "adrenaline", "epinephrine", "endoscopically", "conservatively",
        "managed", "conservative", "post", "procedure", "intraprocedural", "delayed", "early", "late", "immediate",
        "brief", "transient",
    )
)  # fmt: skip
_MATTER = re.compile(
    r"\b(?:wons?|wopns?|walled[- ]off(?: pancreatic)?(?: necrosis)?|necrosis|collections?|pancreatic)\b"
)


def read_instruments(text: str, own: Words) -> Reading:
    """ "snare+net, then H2O2": a use of each class in order. A class named twice, or "x2", is one use, asked about."""
    bare = plain(text)
    if len(bare) > LONGEST:
        return refused("is too long to be a list of instruments")
    words = known_words("instrument_class", INSTRUMENT_USES.column("instrument_class").codes, own)
    if folded(bare) in words:
        classes, question = [words[folded(bare)]], ""
    else:
        parts = [part for step in _THEN.split(bare) for part in _AND.split(step)]
        counted = [_without_count(part) for part in parts if part.strip(" .")]
        unknown = [name for name, _ in counted if folded(name) not in words]
        if unknown or not counted:
            return refused("names an instrument that is neither in the codebook nor in the layout")
        classes = [words[folded(name)] for name, _ in counted]
        question = "counts an instrument, which is one use" if any(times for _, times in counted) else ""
    named = [each for each in classes if each]
    once = list(dict.fromkeys(named))
    if "unknown" in once:
        question = "says that an instrument is not known"
    if len(once) < len(named):
        question = question or "names an instrument class twice, which is one use"
    uses = tuple({"instrument_class": each, "use_order": str(order)} for order, each in enumerate(once, start=1))
    return Reading(rule="instruments", children=uses, question=question) if uses else BLANK


def _without_count(part: str) -> tuple[str, bool]:
    bare = _TIMES.sub("", part, count=1).strip(" .")
    return (bare, True) if bare != part.strip(" .") and bare else (part.strip(" ."), False)


def read_event(text: str, own: Words) -> Reading:
    """ "bled, stopped": one event, to be graded; "nil": somebody looked and there was none."""
    bare = folded(plain(text).strip(" ."))
    words = known_words("event_type", ADVERSE_EVENTS.column("event_type").codes, own)
    if len(bare) > LONGEST:
        return refused("is too long to be one event")
    if own.get(bare) == "":
        return BLANK
    if bare in NO_EVENT:
        return Reading(rule="no event", fills={"events_checked": "yes"})
    found, rest, denied = _events_in(_PIECE.findall(bare), words)
    if denied and found:
        return refused("says of one event that it was, and of another that it was not")
    if denied and not (rest - _REMARKS - {"or", ",", "and"}):
        return Reading(rule="no event", fills={"events_checked": "yes"})
    if len(found) != 1:
        problem = "names more than one event" if found else "names no event that is on the list"
        return refused(problem)
    return _one_event(found.pop(), rest)


def _one_event(event: str, rest: set[str]) -> Reading:
    doubt = bool(rest & _PERHAPS) or any(word.startswith("?") for word in rest)
    signs = {word for word in rest if not word[0].isalnum()}
    more = rest - _REMARKS - _PERHAPS - signs
    question = "is in doubt as written" if doubt else "holds more words than those that were read" if more else ""
    return Reading(
        rule="event", fills={"events_checked": "yes"}, children=({"event_type": event},), question=question,
        note="" if question else "was read to an event with its type and day only",
    )  # fmt: skip


def _events_in(pieces: list[str], words: Words) -> tuple[set[str], set[str], set[str]]:
    """The events named, the words left over, and the events denied."""
    found, rest, denied = set(), set(), set()
    place, negative = 0, False
    while place < len(pieces):
        length, code = _longest(pieces, place, words)
        if length:
            (denied if negative else found).add(code)
            place += length
            continue
        piece = pieces[place]
        negative = piece in _NOT or (negative and piece not in (",", ";", ".", "but"))
        rest.update({piece} - _NOT)
        place += 1
    return found - {""}, rest, denied - {""}


def _longest(pieces: list[str], place: int, words: Words) -> tuple[int, str]:
    for length in range(min(5, len(pieces) - place), 0, -1):
        phrase = " ".join(pieces[place : place + length])
        if phrase in words:
            return length, words[phrase]
    return 0, ""


def read_collections(text: str, own: Words) -> Reading:
    """ "WON x2 (lesser sac + L paracolic)": a row a collection, with its site where one is named."""
    bare = plain(text)
    if len(bare) > LONGEST:
        return refused("is too long to be a list of collections")
    words = known_words("site", COLLECTIONS.column("site").codes, own)
    rest = _MATTER.sub(" ", bare)
    counts = [int(first or second) for first, second in _TIMES.findall(rest)]
    rest = _TIMES.sub(" ", rest)
    lone = re.fullmatch(r"\s*([0-9]{1,2})\b(.*)", rest, re.DOTALL)
    if lone and not counts:
        counts, rest = [int(lone[1])], lone[2]
    if len(counts) > 1 or any(not 1 <= count <= 9 for count in counts):
        return refused("does not say how many collections there are")
    sites = _sites(rest, words)
    if sites is None:
        return refused("names a site that is neither in the codebook nor in the layout")
    count = counts[0] if counts else max(len(sites), 1)
    if sites and len(sites) != count:
        return refused("gives another number of collections than it names")
    named = [*sites, *[""] * (count - len(sites))]
    return Reading(rule="collections", children=tuple({"site": site} for site in named))


def _sites(rest: str, words: Words) -> list[str] | None:
    whole = folded(rest.strip(" ():.;-"))
    if not whole:
        return []
    if whole in words:
        return [words[whole]]
    parts = [folded(part.strip(" ().;-")) for part in _AND.split(re.sub("[;:()]", ",", rest))]
    named = [part for part in parts if part]
    return [words[part] for part in named] if all(part in words for part in named) else None
