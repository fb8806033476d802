"""Names of months in English, German, French, Spanish, Dutch and Italian, without accents."""

from __future__ import annotations

import unicodedata

_NAMES = (
    "january jan januar janner janvier janv enero ene januari gennaio gen genn",
    "february feb februar fevrier fevr fev febrero februari febbraio febb",
    "march mar marz maerz mrz mars marzo maart mrt",
    "april apr avril avr abril abr aprile",
    "may mai mayo mei maggio mag magg",
    "june jun juni juin junio giugno giu",
    "july jul juli juillet juil julio luglio lug",
    "august aug aout agosto ago ag augustus",
    "september sep sept septembre septiembre setiembre settembre set sett",
    "october oct oktober okt octobre octubre ottobre ott",
    "november nov novembre noviembre",
    "december dec dezember dez decembre diciembre dic dicembre",
)
MONTHS = {name: month for month, names in enumerate(_NAMES, start=1) for name in names.split()}
WEEKDAYS = {
    name: day
    for day, names in enumerate(
        (
            "monday mon",
            "tuesday tue tues",
            "wednesday wed",
            "thursday thu thur thurs",
            "friday fri",
            "saturday sat",
            "sunday sun",
        )
    )
    for name in names.split()
}


def month_number(word: str) -> int | None:
    """The month that a word names, accents or not; None if it names none."""
    bare = "".join(letter for letter in unicodedata.normalize("NFD", word) if not unicodedata.combining(letter))
    return MONTHS.get(bare)
