"""Cells that hold several things: instruments in order, an event, collections, stents and the end of one.

Each is read whole or not at all.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence

from necrostats.registry.codebook import ADVERSE_EVENTS, COLLECTIONS, INSTRUMENT_USES, STENTS
from necrostats.registry.export.cells import BLANK, Fills, Reading, number_text, refused
from necrostats.registry.quantities import read_number
from necrostats.registry.text import LONGEST, folded, listed, plain
from necrostats.registry.words import NO_EVENT, known_words

Words = Mapping[str, str]


def any_of(section: str) -> str:
    """The words of a list in every language, as alternatives of a pattern."""
    return "|".join(re.escape(word) for word in sorted(listed(section), key=len, reverse=True))


_THEN = re.compile(rf"\s*(?:->|→|;|,?\s*\b(?:then|followed by|{any_of('then')})\b)\s*")
_AND = re.compile(rf"\s*(?:[+&,/]|\b(?:and|with|{any_of('with')})(?=\s))\s*")
_KEPT = "\u2423"  # in place of a blank that parts nothing
_TIMES = re.compile(r"(?:\(?x\s?([0-9]{1,2})\)?|([0-9]{1,2})\s?x)")
_PIECE = re.compile(r"[^\W_]+(?:[-'][^\W_]+)*|\?+|[^\w\s]", re.UNICODE)
_NOT_ELSEWHERE = "sem nenhum nenhuma nao geen zonder niet ingen inget inga utan uten ikke inte bez brak nie ei ilman"
_NOT = frozenset(
    (
        *("no", "not", "without", "nil", "never", "denies", "non", *_NOT_ELSEWHERE.split()),
        *map(folded, listed("negation")),
    )
)
"""A negated event is never an event, in whatever language the layout says or does not say that it is written."""
_NO = frozenset(("no", "none", "nil", "negative", "nein", "non", "keine", "aucun", "ninguno", "nessuno"))
_SIGNS = frozenset(",;:.-")
_ELIDED = re.compile(r"\b(?:d|l|dell|all)'")
_BUT = frozenset((",", ";", ".", "but", "aber", "mais", "pero", "ma"))
_PERHAPS = frozenset(
    (
        "possible",
        "possibly",
        "probable",
        "probably",
        "suspected",
        "query",
        "likely",
        "maybe",
        *map(folded, listed("perhaps")),
    )
)
_REMARKS = frozenset(
    (
        "a",
        "an",
        "and",
        "the",
        "at",
        "of",
        "on",
        "in",
        "to",
        "by",
        "from",
        "after",
        "during",
        "then",
        "with",
        "minor",
        "mild",
        "moderate",
        "severe",
        "small",
        "large",
        "major",
        "stopped",
        "controlled",
        "settled",
        "resolved",
        "spontaneously",
        "self",
        "limiting",
        "limited",
        "self-limiting",
        "self-limited",
        "clip",
        "clips",
        "clipped",
        "treated",
        "transfused",
        "transfusion",
        "adrenaline",
        "epinephrine",
        "endoscopically",
        "conservatively",
        "managed",
        "conservative",
        "post",
        "procedure",
        "intraprocedural",
        "delayed",
        "early",
        "late",
        "immediate",
        "brief",
        "transient",
        "seen",
        "noted",
        "observed",
        "reported",
        *map(folded, listed("remarks")),
    )
)
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
        counted = _named_in(bare, words)
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


def _named_in(bare: str, words: Words) -> list[tuple[str, bool]]:
    """The names in a list of instruments, folded, and whether each is counted; "jet d'eau" is one name, not two."""
    whole = folded(bare)
    for phrase in sorted((word for word in words if _AND.search(word)), key=len, reverse=True):
        whole = whole.replace(phrase, phrase.replace(" ", _KEPT))
    parts = [part for step in _THEN.split(whole) for part in _AND.split(step)]
    return [_without_count(part.replace(_KEPT, " ")) for part in parts if part.strip(" .")]


def unknown_instruments(text: str, own: Words) -> list[str]:
    """The names in a list of instruments that nobody has explained."""
    words = known_words("instrument_class", INSTRUMENT_USES.column("instrument_class").codes, own)
    return [name for name, _ in _named_in(plain(text), words) if folded(name) not in words]


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
    pieces = _PIECE.findall(_ELIDED.sub("", bare))
    found, rest, denied = _events_in(pieces, words)
    if pieces[-1:] and pieces[-1] in _NO and not denied:
        found, denied, rest = set(), found, rest - _NO
    if denied and found:
        return refused("says of one event that it was, and of another that it was not")
    if denied and not (rest - _REMARKS - {"or", "and", *_SIGNS}):
        return Reading(rule="no event", fills={"events_checked": "yes"})
    if len(found) == 1 and _joins_something_else(bare, words):
        return refused("names an event and something else that is not on the list")
    if len(found) != 1:
        problem = "names more than one event" if found else "names no event that is on the list"
        return refused(problem)
    return _one_event(found.pop(), rest)


_JOINED_EVENTS = re.compile(r"\s*[+&]\s*")


def _joins_something_else(bare: str, words: Words) -> bool:
    """Whether a part beside a plus sign names nothing that is known: "bleeding + fever"."""
    for part in _JOINED_EVENTS.split(bare):
        found, rest, denied = _events_in(_PIECE.findall(_ELIDED.sub("", part)), words)
        unknown = rest - _REMARKS - _PERHAPS - set(_SIGNS)
        if not (found or denied) and any(word[0].isalnum() for word in unknown):
            return True
    return False


def _one_event(event: str, rest: set[str]) -> Reading:
    doubt = bool(rest & _PERHAPS) or any(word.startswith("?") for word in rest)
    signs = {word for word in rest if not word[0].isalnum()}
    more = rest - _REMARKS - _PERHAPS - signs
    question = "is in doubt as written" if doubt else "holds more words than those that were read" if more else ""
    return Reading(
        rule="event",
        fills={"events_checked": "yes"},
        children=({"event_type": event},),
        question=question,
        note="" if question else "was read to an event with its type and day only",
    )


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
        negative = piece in _NOT or (negative and piece not in _BUT)
        rest.update({piece} - _NOT)
        place += 1
    return found - {""}, rest, denied - {""}


def _longest(pieces: list[str], place: int, words: Words) -> tuple[int, str]:
    for length in range(min(5, len(pieces) - place), 0, -1):
        phrase = " ".join(pieces[place : place + length])
        if phrase in words:
            return length, words[phrase]
    return 0, ""


_AROUND = " ():.;-"


def read_collections(text: str, own: Words) -> Reading:
    """ "WON x2 (lesser sac + L paracolic)": a row a collection, with its site where one is named."""
    bare = plain(text)
    if len(bare) > LONGEST:
        return refused("is too long to be a list of collections")
    words = {
        word.strip(_AROUND): code for word, code in known_words("site", COLLECTIONS.column("site").codes, own).items()
    }
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
    whole = folded(rest.strip(_AROUND))
    if not whole:
        return []
    if whole in words:
        return [words[whole]]
    parts = [folded(part.strip(_AROUND)) for part in _AND.split(re.sub("[;:()]", ",", rest))]
    named = [part for part in parts if part]
    return [words[part] for part in named] if all(part in words for part in named) else None


_MOST_STENTS = 9
_COAXIAL = re.compile(r"\b(?:co-?axial\w*|koaxial\w*|coassial[ei]|coaxia(?:al|ux))\b")
_UNIT = r"(?:mm|cm|french|fr|ch|f)\b"
_HOW_MANY = re.compile(rf"^(?P<first>[1-9])\s?(?:x\s?|\s)(?!{_UNIT})(?=[^\W\d])|\bx\s?(?P<last>[1-9])$")
_SIZE = re.compile(
    rf"(?P<size>[0-9]{{1,2}}(?:[.,][0-9])?)\s?(?P<unit>{_UNIT})?(?:\s?[x/]\s?[0-9]{{1,3}}\s?(?:{_UNIT})?)*"
)
_SIZED_IN_MM = ("lumen_apposing", "self_expanding_metal")


_REMOVED = frozenset(
    {"removed", "out", "explanted", "extracted", "pulled", "removal", *(folded(word) for word in listed("removed"))}
)


def read_stents(text: str, own: Words) -> Reading:
    """ "LAMS 15 + coaxial DPT 7Fr": a row a stent, its type and size; a metal stent's bare size is in millimetres."""
    bare = plain(text)
    if len(bare) > LONGEST:
        return refused("is too long to be a list of stents")
    if folded(bare.strip(" .()")) in _REMOVED:
        return Reading(rule="removal", question="says that a stent came out, not that one was placed")
    words = known_words("stent_type", STENTS.column("stent_type").codes, own)
    parts = [part.strip(" .()") for step in _THEN.split(bare) for part in _STENTS_APART.split(step)]
    stents: list[Fills] = []
    for part in filter(None, parts):
        found = _stents_of(part, words)
        if isinstance(found, str):
            return refused(found)
        stents += found
    return Reading(rule="stents", children=tuple(stents)) if stents else BLANK


_STENTS_APART = re.compile(rf"\s*(?:[+&,]|\b(?:and|with|{any_of('with')})(?=\s))\s*")


def _stents_of(part: str, words: Words) -> list[Fills] | str:
    """The stents of one part of a cell, or why it cannot be read."""
    counts = [int(each["first"] or each["last"]) for each in _HOW_MANY.finditer(part)]
    rest = _COAXIAL.sub(" ", _HOW_MANY.sub(" ", part)).strip()
    through = {"coaxial": "yes"} if _COAXIAL.search(part) else {}
    sizes = list(_SIZE.finditer(rest))
    name = folded(_SIZE.sub(" ", rest).strip(" .-:()"))
    if name not in words:
        return "names a stent that is neither in the codebook nor in the layout"
    if len(sizes) > 1 or len(counts) > 1:
        return "does not say plainly how many stents there are, or of what size"
    kind = words[name]
    size = _stent_size(kind, sizes[0]) if sizes else {}
    if size is None:
        return "does not say whether its size is in mm or in Fr"
    return [{"stent_type": kind, **size, **through}] * (counts[0] if counts else 1) if kind else []


def _stent_size(kind: str, found: re.Match[str]) -> Fills | None:
    unit = found["unit"] or ("mm" if kind in _SIZED_IN_MM else "")
    if not unit:
        return None
    name, grammar = ("diameter_mm", "bore") if unit in ("mm", "cm") else ("caliber_fr", "Fr")
    value = read_number(f"{found['size']} {unit}", unit=grammar).value
    return {name: number_text(value)} if value is not None else None


_BEFORE_A_DATE = frozenset(("on", "at", "am", "den", "vom", "le", "el", "il", "dal", "del", "du"))


def parted_end(text: str, own: Words) -> tuple[str, str] | None:
    """ "migrated 23/10/24" → ("migrated", "23/10/24"): why a stent ended, and what is left to be its date.

    A word for removed gives no reason: "removed 23/10/24" → ("", "23/10/24"). None if no part of the cell is a known
    reason or such a word, unless the whole of it may be a date.
    """
    words = known_words("end_reason", STENTS.column("end_reason").codes, own)
    pieces = text.split()
    for length in range(len(pieces), 0, -1):
        for first, rest in ((pieces[:length], pieces[length:]), (pieces[-length:], pieces[:-length])):
            code = words.get(folded(" ".join(first).strip(" ,;:.-()")))
            if code is not None:
                return code, _without(rest, _BEFORE_A_DATE)
    rest = _without(pieces, _REMOVED | _BEFORE_A_DATE)
    return ("", rest) if re.search("[0-9]", rest) else None


def _without(pieces: Sequence[str], words: Collection[str]) -> str:
    """Pieces of a cell joined again, but for some small words."""
    kept = (piece for piece in pieces if folded(piece.strip(" ,;:.-()")) not in words)
    return " ".join(kept).strip(" ,;:-()")
