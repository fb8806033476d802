"""Codes, instruments and events in the unit's own words. The layout says what the words mean; nothing here asks it."""

from __future__ import annotations

from collections.abc import Iterable

from messy_export.cells import ASKED, EITHER, SET_ASIDE, UNKNOWN, Typed
from messy_export.people import BLANKS, Pen, Person, cased, weighted
from messy_export.word_lists import CODES, COMMON, EVENT_WORDS, QUIET, SITES, TOOLS, TWICE


def unknown(pen: Pen, person: Person) -> Typed:
    """A blank: no cell at all, or the word this person writes for it."""
    word = person.blank if pen.chance(0.6) else pen.deal("blanks", BLANKS)
    return Typed(value=word, fate=UNKNOWN, mess="blank word") if word else Typed(value=None)


def type_code(pen: Pen, person: Person, column: str, code: str) -> Typed:
    """A code as a word, a blank, or now and then two words at once."""
    if not code:
        return unknown(pen, person)
    if code in TWICE and pen.deal(f"twice {code}", (True, *[False] * 19)):
        return Typed(value=TWICE[code], fate=SET_ASIDE, mess="two codes in one cell")
    word = pen.deal(f"{column} {code}", CODES[column][code])
    if word.isdigit():
        return Typed(value=int(word), fills={column: code}, mess="the unit's own word")
    known = word.replace(" ", "_") == code
    return Typed(
        value=cased(word, person) if known else word,
        fills={column: code},
        mess="" if known else "the unit's own word",
    )


ROMAN = "roman number"


def type_number(
    pen: Pen,
    person: Person,
    column: str,
    number: str,
    *,
    unit: str = "",
    bad: tuple[tuple[str, str], ...] = (),
) -> Typed:
    """A whole number as a number, as text, with its unit, or as in `bad`: (text, kind of mess)."""
    if not number:
        return unknown(pen, person)
    form = pen.deal(f"number {column}", (*weighted(number=8, text=4, padded=1), *(("unit",) * 3 if unit else ()), *bad))
    if isinstance(form, tuple) and form[1] == ROMAN:
        return Typed(value=form[0], fills={column: str(len(form[0]))}, mess=ROMAN)
    if isinstance(form, tuple):
        return Typed(value=form[0], fate=SET_ASIDE, mess=form[1])
    value = {"number": int(number), "text": number, "padded": f" {number}\u00a0", "unit": f"{number} {unit}"}[form]
    return Typed(value=value, fills={column: number}, mess="number with its unit" if form == "unit" else "")


def type_yes_no(pen: Pen, person: Person, column: str, answer: str) -> Typed:
    """yes or no in many ways."""
    if not answer:
        return unknown(pen, person)
    words = {"yes": ("yes", "y", "Y", True, 1, "Yes", "oui"), "no": ("no", "n", "N", False, 0, "No", "non")}[answer]
    return Typed(value=pen.deal(f"yes no {answer}", words), fills={column: answer}, mess="yes and no")


def type_tools(pen: Pen, person: Person, classes: tuple[str, ...], place: str) -> Typed:
    """The instruments of one session in order, in slang, joined as this person joins them."""
    if not classes:
        typed = unknown(pen, person)
        return Typed(value=None) if typed.value == "?" else typed
    form = pen.deal("tools", weighted(plain=40, twice=4, pointing=2, report=1, either=1, question=1))
    if classes == ("unknown",) or form == "question":
        classes = ("unknown",)
        return Typed(value="?", fills=_uses(classes, place), mess="question mark for instruments")
    if "other" in classes:
        return Typed(value="stone balloon thru tract", fate=SET_ASIDE, mess="unlisted word")
    if form in ("pointing", "report", "either"):
        return {
            "pointing": Typed(
                value=pen.deal("pointing", ("as before", "same", "idem", '"')),
                fate=SET_ASIDE,
                mess="points elsewhere",
            ),
            "report": Typed(value="see report", fate=UNKNOWN, mess="see report"),
            "either": Typed(value="snare or net", fate=SET_ASIDE, mess="one or the other"),
        }[form]
    dealt = [pen.deal(f"tool {each}", TOOLS[each]) for each in classes]
    words = [cased(word, person) if word in COMMON else word for word in dealt]
    if form == "twice" and len(classes) == 1:
        return Typed(value=f"{words[0]} x2", fills=_uses(classes, place), reading=ASKED, mess="x2")
    joiner = person.joiner if len(words) < 3 or "then" not in person.joiner else "+"
    text = joiner.join(words) if joiner != "+" or len(words) < 3 else f"{'+'.join(words[:-1])}, then {words[-1]}"
    reading = EITHER if "unknown" in classes else ""
    return Typed(
        value=text,
        fills=_uses(classes, place),
        reading=reading,
        mess="several instruments" if len(classes) > 1 else "",
    )


def _uses(classes: Iterable[str], place: str) -> dict[str, str]:
    return {f"instrument_uses[{place}/{at}].instrument_class": each for at, each in enumerate(classes, start=1)}


def type_event(pen: Pen, person: Person, event: str, checked: str, place: str) -> Typed:
    """The complication cell of one session: an event, checked and none, or not checked."""
    if event:
        words = EVENT_WORDS.get(event) or tuple((word, "") for word in CODES["event_type"][event])
        word, reading = pen.deal(f"event {event}", words)
        fills = {"events_checked": "yes", f"adverse_events[{place}].event_type": event}
        return Typed(value=word, fills=fills, reading=reading, mess="event")
    form = pen.deal("quiet", QUIET) if checked == "yes" else "blank"
    if form in ("nil", "no bleeding", "no"):
        return Typed(
            value=cased(form, person),
            fills={"events_checked": "yes"},
            reading=EITHER if form == "no" else "",
            mess="no event",
        )
    if form in ("two", "rash"):
        return Typed(
            value={"two": "bled + perf", "rash": "rash"}[form],
            fate=SET_ASIDE,
            mess="two events or an unlisted one",
        )
    if form == "report":
        return Typed(value="see report", fate=UNKNOWN, mess="see report")
    if form == "dash":
        return Typed(value="-", fate=UNKNOWN, mess="not checked")
    return Typed(value=None) if form == "empty" else unknown(pen, person)


def type_sites(pen: Pen, sites: tuple[str, ...]) -> Typed:
    """Where the collections of one patient lie, all in one cell."""
    words = [pen.deal(f"site {each}", SITES[each]) if each else "?" for each in sites]
    fills = {f"collections[{at}].site": each for at, each in enumerate(sites, start=1) if each}
    if len(sites) > 1:
        form = pen.deal("sites", weighted(counted=3, joined=2))
        return Typed(
            value=f"WON x{len(sites)} ({' + '.join(words)})" if form == "counted" else " + ".join(words),
            fills=fills,
            mess="several collections",
        )
    form = pen.deal("site", weighted(plain=10, named=2, miscounted=1, blank=1))
    if form == "blank":
        return Typed(value=pen.deal("blanks", BLANKS), fate=UNKNOWN, mess="blank word")
    if form == "miscounted":
        return Typed(value=f"WON x3 ({words[0]} + L paracolic)", fate=SET_ASIDE, mess="collections miscounted")
    return Typed(value=words[0] if form == "plain" else f"WON ({words[0]})", fills=fills)
