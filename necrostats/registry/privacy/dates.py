"""Dates, births and ages over 89 in a text. A year alone, a quarter (2026Q3) and a count of days are none.

Ages over 89, in figures and in words; 90 to 119 with a unit of measure are none.

Names of months, ordinal numbers and feasts in several languages, folded.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.text import fold

_OLD = r"(?:9\d|1[01]\d)"
_CERTAIN = re.compile(
    rf"\b{_OLD}[ \-]?(?:y/?-?o|y\.o\.?|y-o-\w|(?:years?|yrs?)[ \-]?old|(?:years|yrs) of age|jahrige[rns]?|jahrig|"
    r"jahre alt|ans|anos|anni|jaar|evos|vuotias|arig)\b"
    rf"|\b(?:aged?|alter|edad|leeftijd|wiek|idade|alder|ika|yas|eletkor|aetat(?:is)?|"
    rf"turn(?:ed|s|ing)|alt)[ :=.]{{1,3}}{_OLD}"
    r"\b(?! ?(?:days|weeks|months|ml|cc|mm|%))"
    r"|\b(?:nonagenarian|centenarian|nonagenaire|centenaire|novantenne|centenne|nonagenari[ao]|in (?:his|her|"
    r"their) (?:early |mid[ \-]?|late )?(?:nineties|90'?s))\b"
    r"|\b(?:ninet(?:y|ies)|neunzig|\w{3,8}undneunzig|quatre[ -]vingt[ -]dix|novanta|noventa)(?:[ -]\w+)?"
    r"[ -](?:years?|yrs?|y/?o|ans|jahre?|anni|anos|jahrig\w*)\b",
    re.IGNORECASE,
)
_PROBABLE = re.compile(
    rf"(?<![\w.,/]){_OLD} ?(?:yrs?|years|y)\b(?! ?(?:ago|follow|since))"
    rf"|(?<![\w.,/°]){_OLD}(?-i:[MFmf])\b"
    rf"|(?<![\w.,/])(?:(?-i:[MF]) |[mfw]/|w (?=\d+ ?j)|[♀♂] ?){_OLD}(?: ?j\b\.?)?(?![\w%/]|[.,]\d|"
    r" ?(?:ml|cc|mm|cm|%|f\b|x))"
    rf"|(?<![\w.,/]){_OLD} ?(?:♀|♂|(?-i:[MF])\b)"
    rf"|(?<![\w.,/]){_OLD}(?-i:a|j)\b"
    r"|\b(?:ninety|neunzig|\w{3,8}undneunzig|quatre[ -]vingt[ -]dix|novanta|noventa)(?:[ -](?:one|two|three|four|"
    r"five|six|seven|"
    r"eight|nine))?\b(?! ?-?(?:ml|cc|min|deg|per|%|sec|mm|cm|g\b|gram|day|hour|h\b|tage|grad|minut|proz|jours|dias|"
    r"giorni))",
    re.IGNORECASE,
)
_HOT = re.compile(r"temp|fever|febrile|pyrexi|°|\bt\b", re.IGNORECASE)


def is_age(text: str) -> bool:
    """Whether a folded text says an age over 89."""
    return _CERTAIN.search(text) is not None


def may_be_age(text: str) -> bool:
    """Whether a number over 89 stands beside a sex or a sign of years, where it is seldom anything but an age."""
    return _PROBABLE.search(text) is not None and not _HOT.search(text)


ABBREVIATED = (
    "jan|feb|mar|apr|jun|jul|aug|sep|sept|oct|okt|nov|dec|dez|dic|ene|abr|avr|fevr|juin|juil|janv|mai|maj|giu|lug|"
    "mrz|mrt"
)
SPELT = (
    "january|february|march|april|june|july|august|september|october|november|december|januar|februar|marz|maerz|"
    "juni|"
    "juli|oktober|dezember|janvier|fevrier|mars|avril|juillet|aout|septembre|octobre|novembre|decembre|enero|febrero|"
    "marzo|abril|mayo|junio|julio|agosto|septiembre|octubre|noviembre|diciembre|gennaio|febbraio|aprile|maggio|"
    "giugno|"
    "luglio|settembre|ottobre|dicembre|januari|februari|maart|mei|augustus|december|fevereiro|marco|maio|setembro|"
    "outubro|novembro|dezembro|marts|juuni|augusti|"
    # Polish, Czech and Slovak, Croatian
    "stycznia|lutego|marca|kwietnia|maja|czerwca|lipca|sierpnia|wrzesnia|pazdziernika|listopada|grudnia|ledna|unora|"
    "brezna|dubna|kvetna|cervna|cervence|srpna|zari|rijna|prosince|sijecnja|veljace|ozujka|travnja|svibnja|lipnja|"
    # Turkish, Romanian, Hungarian, Finnish
    "ocak|subat|mart|nisan|mayis|haziran|temmuz|agustos|eylul|ekim|kasim|aralik|ianuarie|februarie|martie|aprilie|"
    "iunie|"
    "iulie|septembrie|octombrie|noiembrie|decembrie|marcius|aprilis|majus|junius|julius|augusztus|szeptember|"
    "tammikuuta|helmikuuta|maaliskuuta|huhtikuuta|toukokuuta|kesakuuta|heinakuuta|elokuuta|syyskuuta|lokakuuta|"
    "marraskuuta|joulukuuta|"
    # Russian, Greek
    "января|февраля|марта|апреля|мая|июня|июля|августа|сентября|октября|ноября|декабря|ιανουαριου|φεβρουαριου|"
    "μαρτιου|"
    "απριλιου|μαιου|ιουνιου|ιουλιου|αυγουστου|σεπτεμβριου|οκτωβριου|νοεμβριου|δεκεμβριου"
)
ORDINALS = (
    r"(?:twenty[ -]|thirty[ -])?(?:first|second|third|fourth|fifth|sixth|seventh|eighth|ninth)|tenth|eleventh|"
    r"twelfth|"
    r"(?:thir|four|fif|six|seven|eigh|nine)teenth|twentieth|thirtieth|"
    r"(?:\w{3,8}und(?:zwanzig|dreissig)st|zwanzigst|dreissigst|erst|zweit|dritt|viert|funft|sechst|siebt|siebent|"
    r"acht|neunt|"
    r"zehnt|elft|zwolft|\w{3,5}zehnt)e[nrs]?|premier|primero?|primo"
)
FEASTS = (
    r"christmas(?: day| eve)?(?! tree)|xmas|boxing day|easter|good friday|maundy|whit (?:sunday|monday)|pentecost|"
    r"new year'?s?(?: eve| day)?|hogmanay|thanksgiving|hallowe'?en|weihnacht\w*|heilig(?:er )?abend|silvester|"
    r"neujahr|ostern|"
    r"oster(?:sonntag|montag)|karfreitag|pfingst\w*|noel|paques|toussaint|navidad|nochebuena|nochevieja|semana santa|"
    r"natale|capodanno|pasqua|pasquetta|ferragosto|natal|wigilia|wielkanoc|vanoce|diwali|ramadan|eid al\W\w+|"
    r"hanukkah|"
    r"yom kippur|rosh hashana\w*|kerst(?:avond|dag)?|pasen|jul(?:afton|aften)"
)


FULL_DATE = Clue(kind="date", rule="a full calendar date", hard=True)
_PART = Clue(kind="date", rule="a day and month, or a month and year")
DATES = (FULL_DATE, _PART)
_BIRTH = Clue(kind="date", rule="a word for birth with a number", hard=True)
_AGE = Clue(kind="date", rule="an age over 89", hard=True)
AGE_OVER_89 = "a number that may be an age over 89"
_MAY_BE_AGE = Clue(kind="date", rule=AGE_OVER_89)
AGES_OVER_89 = (_AGE.rule, AGE_OVER_89)

_MONTH = rf"(?:{SPELT}|{ABBREVIATED}|(?-i:May|MAY))"
_WEEKDAY = (
    r"(?:mon|tues|wednes|thurs|fri|satur|sun)day|mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun|montag|dienstag|"
    r"mittwoch|"
    r"donnerstag|freitag|samstag|sonntag|lundi|mardi|mercredi|jeudi|vendredi|samedi|dimanche|lunes|martes|miercoles|"
    r"jueves|viernes|sabado|domingo"
)
_UNIT = r"(?! ?(?:mm|cm|ml|cc|fr|g|mg|min|h|%)\b)"
_FIGURES = re.compile(
    r"(?<![\d.,/\-])(\d{1,2}) ?([./\-]) ?(\d{1,2}) ?\2 ?((?:18|19|20)\d{2}|'?\d{2})(?!\d|"
    r"[./\-]\d)" + _UNIT,
    re.IGNORECASE,
)
_YEAR_FIRST = re.compile(
    r"(?<![\d.])(?:18|19|20)\d{2} ?([-/.年]) ?(?:0?[1-9]|1[0-2]) ?[-/.月] ?(?:0?[1-9]|[12]\d|3[01])(?!\d)"
)
_COMPACT = re.compile(
    r"(?<![\d.,])(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])(?:[T ]?\d{4,6})?(?!\d|"
    r"[.,]\d)"
)
_IN_WORDS = re.compile(
    rf"\b\d{{1,2}}(?:st|nd|rd|th|\.|er)?[ \-/]?(?:of |de |di )?{_MONTH}(?![^\W\d])\.?,?[ \-/]{{0,2}}(?:de |di )?"
    rf"(?:(?:19|20)\d{{2}}|'?\d{{2}})\b{_UNIT}"
    rf"|\b{_MONTH}\.? \d{{1,2}}(?:st|nd|rd|th)?,? (?:19|20)\d{{2}}\b",
    re.IGNORECASE,
)
_ROMAN = "(?:X?I{1,3}|I?[VX]|VI{1,3})"
_OTHERWISE = re.compile(
    rf"(?<![\d.])\d{{1,2}}([.\-/]){_ROMAN}\1'?(?:19|20)?\d{{2}}(?!\d)|(?<![\d.])\d{{1,2}} {_ROMAN} (?:19|"
    rf"20)\d{{2}}(?!\d)"
    r"|(?:令和|平成|昭和|大正) ?\d{1,2} ?年|\d{1,2} ?月 ?\d{1,2} ?日"
    r"|(?<![\d.])\d{1,2}(?:st|nd|rd|th) of the \d{1,2}(?:st|nd|rd|th)\b"
)
_FIGURED_MONTH = r"(?<![\d./\-])(?:0?[1-9]|1[0-2])[/\-](?:19|20)\d{2}(?![\d/\-])"
_MONTH_AND_YEAR = re.compile(_FIGURED_MONTH)
_PARTS = re.compile(
    rf"\b\d{{1,2}}(?:st|nd|rd|th|\.|er)?[ \-/]?(?:of |de )?{_MONTH}\b"
    rf"|\b{_MONTH}\b\.?[ \-/](?:the )?(?:\d{{1,2}}(?:st|nd|rd|th)?|'?\d{{2}}|(?:19|20)\d{{2}})\b{_UNIT}"
    rf"|\b(?:{_WEEKDAY})\b,? (?:the |den |le )?\d{{1,2}}(?:st|nd|rd|th|[./]\d{{1,2}}|\.?)(?![\w:]){_UNIT}"
    rf"|{_FIGURED_MONTH}"
    r"|\b(?:on|dated?|since|vom|seit|am|du|depuis) (?:the )?(?:\d{1,2}/(?!52|7\b)\d{1,2}(?![\d/])|"
    r"\d{1,2}\.\d{1,2}\.(?!\d))"
    r"|\b(?:rv|review|f/?u|clinic|due|booked|admitted|session) (on )?(?:1[3-9]|2\d|3[01])/(?:0?[1-689]|"
    r"1[01])(?![\d/])"
    r"|\b(?:on|since|until) the \d{1,2}(?:st|nd|rd|th)\b"
    r"|\b\d{1,2}(?:st|nd|rd|th) of (?:this|last|next) month\b",
    re.IGNORECASE,
)
_BIRTHS = re.compile(
    r"\b(?:d\.?o\.?b|date of birth|birth ?date|birthday|born|geb|geboren|geburtsdatum|nee? le|nato(?: il)?|"
    r"nata(?: il)?|"
    r"nacid[oa](?: el)?|fodt|fodd|geb\.datum|yob|y\.o\.b|"
    r"(?:year|month) of birth|urodz\w*)\b[^a-z\d]{0,4}(?:(?:on|in|is|am|:) )?[^a-z\d]{0,3}\d"
    r"|\b(?:birthday|geburtstag|anniversaire|compleanno|cumpleanos)\b.{0,20}\d"
    r"|(?:\bb\.|\bnee?\b|\Ab) ?(?:in )?1[89]\d{2}\b(?![/.]\d| ?ml)|\bf\. ?\d{6}\b",
    re.IGNORECASE,
)
# A day and month in figures without a year: a zero in front, or after a word that a time follows, no proper fraction.
_DAY = "(?:0?[1-9]|[12]\\d|3[01])"
_TIMED = (
    "on|since|from|until|till|died|death|deceased|expired|seen|reviewed|admitted|readmitted|discharged|d/c|scoped|"
    "scope|ct|"
    "mri|mrt|ercp|op|next|last|due|clinic|vom|seit|am|ab|bis|zum|termin|du|depuis|le|dal|il|del|desde"
)
_SHORT = re.compile(
    rf"(?<![\d./\-]){_DAY}/0[1-9](?![\d/%])|(?<![\d./\-])0[1-9]/(?:0?[1-9]|1[0-2])(?![\d/%])"
    rf"|(?<![\d./\-]){_DAY}\.(?:0[1-9]|1[0-2])\.(?!\d)"
    rf"|\b(?:{_TIMED})\b:? (?:the |the\b )?{_DAY}\.(?:[1-9]|1[0-2])\.(?!\d)"
    rf"|\b(?:{_TIMED})\b:? (?:1[3-9]|2\d|3[01])/(?:[1-6]|[89]|1[01])(?![\d/]| ?(?:cm|mm|ml|cc))"
    rf"|\b(?:{_TIMED})\b:? (?:9/[1-68]|1[0-2]/[1-689])(?![\d/]| ?(?:cm|mm|ml|cc))"
    rf"|\b(?:rip|died|death|dod|deceased|expired|passed away|gestorben|verstorben)\b:? {_DAY}/(?:[1-9]|1[012])(?![\d/])"
    r"|\b(?:KW|CW) ?\d{1,2}/(?:20)?\d{2}\b",
    re.IGNORECASE,
)
_OTHER_PARTS = re.compile(
    r"\b(?:19|20)\d{2}-?W\d{2}\b"
    r"|\b(?:died|death|dod|deceased|gestorben|verstorben)\b.{0,8}\b\d{1,2}(?:st|nd|rd|th)\b",
    re.IGNORECASE,
)
_WORDED = re.compile(
    rf"\b(?:rip|died|death|dod|deceased|passed away|expired|gestorben|verstorben|exitus|decede) (?:in |on |im |"
    rf"en )?{_MONTH}\b"
    rf"|\b(?:{ORDINALS}) (?:of |de |di |d')?{_MONTH}\b|\b{_MONTH} (?:the )?(?:{ORDINALS})\b",
    re.IGNORECASE,
)
_FEASTS = re.compile(rf"\b(?:{FEASTS})\b", re.IGNORECASE)
_LETTERS = re.compile(r"[^\W\d_]+")
_DAYS = re.findall("[a-z]+", re.sub(r"\(\?:(.*?)\)day", lambda each: each[1].replace("|", "day|") + "day", _WEEKDAY))
_CUES = "rv|review|f|fu|clinic|due|booked|admitted|session|may|on|date|dated|since|vom|seit|am|du|depuis|until|of"
_NAMES_OF_MONTHS = frozenset((*f"{SPELT}|{ABBREVIATED}".split("|"), "may"))
_WORDS_OF_DATES = frozenset((*f"{SPELT}|{ABBREVIATED}|{_CUES}".split("|"), *_DAYS))


def _has_word_of_a_date(text: str) -> bool:
    return not _WORDS_OF_DATES.isdisjoint(_LETTERS.findall(text.casefold()))


def _names_a_month(text: str) -> bool:
    return not _NAMES_OF_MONTHS.isdisjoint(_LETTERS.findall(text.casefold()))


def clues_in_dates(text: str, *, dates_belong: bool) -> Iterator[Clue]:
    """The clues of date elements in a folded text; in a declared date column only births and ages remain."""
    if is_age(text):
        yield _AGE
    elif may_be_age(text):
        yield _MAY_BE_AGE
    figured = any(digit in text for digit in "0123456789")
    if figured and _BIRTHS.search(text):
        yield _BIRTH
    if dates_belong:
        return
    if figured and has_full_date(text):
        yield FULL_DATE
    elif (figured and has_part(text)) or _is_worded(text):
        yield _PART


def has_part(text: str) -> bool:
    """Whether a folded text names a day of a month, or a month of a year, in figures."""
    if ("/" in text or "." in text) and _SHORT.search(text):
        return True
    if _OTHER_PARTS.search(text):
        return True
    return bool((_MONTH_AND_YEAR.search(text) or _has_word_of_a_date(text)) and _PARTS.search(text))


def _is_worded(text: str) -> bool:
    return _FEASTS.search(text) is not None or (_names_a_month(text) and _WORDED.search(text) is not None)


def has_full_date(text: str) -> bool:
    """Whether a folded text names a day of a year."""
    if any(_possible(found) for found in _FIGURES.finditer(text)):
        return True
    if any(each.search(text) for each in (_YEAR_FIRST, _COMPACT, _OTHERWISE)):
        return True
    return _names_a_month(text) and _IN_WORDS.search(text) is not None


EARLIEST_OF_A_RECORD = 2005
_ANY_YEAR = re.compile(r"(?<!\d)(?:18|19|20)\d{2}(?=\d{4}(?!\d)|(?!\d))")
_SHORT_YEARS_OF = 2000


def is_recent(text: str) -> bool:
    """Whether the dates in a text are all of years in which records were kept, so that none is the birth of an adult.

    The day on which an export was pulled or locked stands in names of files and in titles, and tells nobody.
    """
    years = [int(year) for year in _ANY_YEAR.findall(text)]
    short = [found[4].lstrip("'") for found in _FIGURES.finditer(text)]
    years += [_SHORT_YEARS_OF + int(year) for year in short if len(year) == 2 and int(year) <= 40]
    old = any(len(year) == 2 and int(year) > 40 for year in short)
    return bool(years) and not old and min(years) >= EARLIEST_OF_A_RECORD


def may_be_a_birth(text: str) -> bool:
    """Whether a text holds a full date of a year before those in which records were kept."""
    folded = fold(text)
    return has_full_date(folded) and not is_recent(folded)


def are_compact_dates(numbers: np.ndarray) -> np.ndarray:
    """Which numbers (n,) of eight digits each name a day of a year when written in one (20240312)."""
    years, months, days = numbers // 10_000, numbers // 100 % 100, numbers % 100
    return (years >= 1900) & (years < 2100) & (months >= 1) & (months <= 12) & (days >= 1) & (days <= 31)


def without_dates(text: str, instead: str = " ; ") -> str:
    """A folded text with its full dates blanked, so that their digits are not taken for other numbers."""
    text = _FIGURES.sub(lambda found: instead if _possible(found) else found[0], text)
    for pattern in (_YEAR_FIRST, _COMPACT, _OTHERWISE, _IN_WORDS):
        text = pattern.sub(instead, text)
    return text


def _possible(found: re.Match[str]) -> bool:
    first, second = int(found[1]), int(found[3])
    smaller, larger = sorted((first, second))
    return larger <= (31 if 0 < smaller <= 12 else 12 if smaller == 0 else 0)
