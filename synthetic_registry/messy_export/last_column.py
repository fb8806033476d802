"""The column "DEN8+": every further session of a patient in one cell, read whole or set aside whole."""

from __future__ import annotations

from messy_export.cells import EITHER, SET_ASIDE, Typed
from messy_export.people import Pen, weighted
from messy_export.unit import Patient, Row
from messy_export.word_lists import TOOLS

FORMS = weighted(good=8, line_breaks=4, pointing=1, vague=1, unlisted=1)


def type_rest(pen: Pen, patient: Patient, sessions: tuple[Row, ...]) -> Typed:
    """`12/03/24 | snare+net | 200 ml; 20/03/24 | …`, now and then with one part that spoils the cell."""
    form = pen.deal("rest", FORMS)
    texts, fills = [], {}
    for at, session in enumerate(sessions, start=1):
        text, found = _one(pen, patient, session, f"DEN8+/{at}")
        texts.append(text)
        fills |= found
    if form in ("pointing", "vague", "unlisted"):
        texts[-1] = _spoilt(form, texts[-1])
        return Typed(value="; ".join(texts), fate=SET_ASIDE, mess="last column, unreadable")
    unread = any(each["yield_unit"] == "percent_cleared" for each in sessions)
    joiner = "\n" if form == "line breaks" else "; "
    return Typed(value=joiner.join(texts), fills=fills, reading=EITHER if unread else "", mess="last column")


def _spoilt(form: str, text: str) -> str:
    date, tools, amount = text.split(" | ")
    return {
        "pointing": f"{date} | as before | {amount}",
        "vague": f"early May | {tools} | {amount}",
        "unlisted": f"{date} | the new thing | {amount}",
    }[form]


def _one(pen: Pen, patient: Patient, session: Row, place: str) -> tuple[str, dict[str, str]]:
    day = patient.date_of(session["day"])
    classes = [each for each in patient.uses[session["session_id"]] if each in TOOLS]
    amount, found = _amount(session)
    fills = {f"sessions[{place}].day": session["day"]}
    fills |= {f"instrument_uses[{place}/{k}].instrument_class": each for k, each in enumerate(classes, start=1)}
    fills |= {f"sessions[{place}].{column}": value for column, value in found.items()}
    tools = "+".join(pen.deal(f"tool {each}", TOOLS[each]) for each in classes)
    return f"{day:%d/%m/%y} | {tools} | {amount}", fills


def _amount(session: Row) -> tuple[str, dict[str, str]]:
    low, high, unit = session["yield_low"], session["yield_high"], session["yield_unit"]
    if not low:
        words = session["yield_words"]
        return words, {"yield_words": words} if words else {}
    about = session["yield_approximate"] == "yes"
    number = low if low == high else f">{low}" if not high else f"<{high}" if low == "0" else f"{low}-{high}"
    fills = {"yield_low": low, "yield_high": high, "yield_unit": unit} | ({"yield_approximate": "yes"} if about else {})
    return f"{'~' * about}{number} {unit if unit != 'percent_cleared' else '% cleared'}", fills
