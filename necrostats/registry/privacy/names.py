"""People in a text: titles, initials, words beside a staff role, relatives, and capitals that no list explains.

A surname in lower case cannot be told from a word: only those on the lists, with a surname's ending, after a title or
before a person's deed are found. One lower-case word that is all of a cell passes, as codes are written so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache

from necrostats.registry.privacy.deeds import TEAMS, is_initialled, names_by_deed, words_addressed
from necrostats.registry.privacy.given_names import is_given_name, is_name_in_lower_case, is_surname
from necrostats.registry.privacy.scripts import may_name_in_other_script
from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.privacy.vocabulary import (
    DISEASES,
    EPONYMS,
    SURELY_EPONYMS,
    is_ordinary,
    sounds_ordinary,
)  # fmt: skip

_TITLED = Clue(kind="name", rule="a title with a name", hard=True)
_WRITTEN = Clue(kind="name", rule="it is written like a person's name")
_BESIDE = Clue(kind="name", rule="a word beside a role or deed that may be a name")
_GIVEN = Clue(kind="name", rule="one of the commonest given names or surnames")
_SIGNED = Clue(kind="name", rule="initials of a person")
_CAPITAL = Clue(kind="name", rule="a word with a capital letter that may be a name")
_RELATIVE = Clue(kind="name", rule="a relative of the patient")
OPERATOR = Clue(kind="name", rule="an operator who is not a pseudonym")

_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?")
_SMALL_WORDS = "van der den de du la le da di del della von zu zum ter ten bin ibn al el o mac mc st y e und and"
_PARTICLES = frozenset(_SMALL_WORDS.split())
_TITLE = re.compile(
    r"\b(?:(?:(?<!\d )(?<!\d)fr(?=\.)|dr|prof|professor|doctor|mr|mrs|ms|miss|mx|sir|lady|dame|herr|hr|frau|mme|mlle|"
    r"monsieur|madame|sr|sra|"
    r"srta|senor|"
    r"senora|dott|dottore|dottoressa|dott\.ssa|sig|sig\.ra|signor|signora|dhr|mevr|dra|docteur|doktor|oberarzt|"
    r"chefarzt|"
    r"nurse|sister|matron|schwester|pfleger|consultant|registrar)\b\.?[ :]{1,2})+(?:(?:med|dr|prof)\b\.? )*"
    r"(?:[A-Za-z]\.? ){0,3}((?:[Vv]an |[Vv]on |[Dd]e |[Dd]er |[Dd]i |[Dd]el |O')*[^\W\d_][^\W\d_']+)",
    re.IGNORECASE,
)
_CLINICIANS = re.compile(r"(?:nurse|sister|matron|consultant|registrar|sr|ms|mr|hr|fr|sig|miss|lady)\b", re.IGNORECASE)
_BY = re.compile(
    r"\b(?:(?:seen|done|performed|reviewed|discussed|referred|spoke|spoken|informed|assisted|supervised|operated|"
    r"consented|signed|"
    r"assessed|reported|requested|handed over|handover|scoped|booked|arranged|examined|escorted|accompanied|"
    r"collected|treated|admitted|"
    r"brought|looked after|cared for|inserted|placed|removed|taken|written|entered|typed|advised|updated) (?:in |"
    r"by phone |over )?"
    r"(?:by|with|to)|d/?w|c/o|attn|spoke with|asked|told|rang|phoned|paged|bleeped|texted|emailed|per|named|"
    r"is called|durch|untersucher|par|por) ([^\W\d_][^\W\d_']{2,})",
    re.IGNORECASE,
)
_ROLE = re.compile(
    r"\b(?:operator|endoscopist|surgeon|consultant|anaesthetist|anesthetist|nurse|assistant|radiologist|registrar|"
    r"fellow|gp|trainee|"
    r"cons|reg|patient|pt|name|surname|nok|next of kin|contact|scrub|runner|author|entered by|typed by|operateur|op|"
    r"asst|typist|"
    r"untersucher|arzt|medecin|medico|signed|secretary|porter|interpreter|carer|neighbour|friend|"
    r"boss)[ ]?[:,=\-]?[ ]?((?-i:[A-Z])[^\W\d_']{2,})",
    re.IGNORECASE,
)
_KIN = re.compile(
    r"\b(?:wife|husband|daughter|mother|father|brother|grand(?:son|daughter|mother|father)|step(?:son|daughter|"
    r"mother|father)|mum|mom|dad|"
    r"niece|nephew|aunt|uncle|cousin|fiancee?|girlfriend|boyfriend|spouse|widow(?:er)?|next of kin|nok|"
    r"son (?:called|named|phoned|rang)|"
    r"(?:his|her|pt'?s|patient'?s|the) (?:son|sister|partner)|ehefrau|ehemann|tochter|sohn|mutter|vater|bruder|"
    r"schwiegersohn|epouse|"
    r"fille|mari|mere|pere|hija|hijo|esposa|marito|moglie|figli[ao])\b",
    re.IGNORECASE,
)
_INITIALS_FIRST = re.compile(r"(?<![\w.'])(?:[A-Z]\. ?|[A-Z] |[A-Z]{2} ){1,3}((?:O'|Mc|Mac)?[A-Z][a-z]{2,})")
_INITIALS_LAST = re.compile(r"(?<![\w'])((?:O'|Mc|"
                    r"Mac)?[A-Z][a-z']{2,}(?:-[A-Z][a-z]+)?),? ?(?:[A-Z]\.(?: ?[A-Z]\.?)?|[A-Z]{1,2})(?![\w'\-/+.])")
_OF_TWO_NAMES = re.compile(
    r"\b(?:Ivor[ -]Lewis|Grey[ -]Turner|Mallory[ -]Weiss|Kaplan[ -]Meier|Monro[ -]Kellie|Mann[ -]Whitney|"
    r"Budd[ -]Chiari)\b"
)
_OTHER_SCRIPTS = re.compile(
    r"[\u4e00-\u9fff]{1,4}(?:医生|醫生|先生|女士|大夫|护士|護士)|\b\w{2,20}(?:ович|евич|овна|евна)\b"
    r"|\b[\u0410-\u042f][\u0430-\u044f]{2,} (?:[\u0410-\u042f]\. ?){1,2}"
)
_BREAK = re.compile(r"[.!?:;|>=\"\[\]*•+] ?\Z|\d[.)]?,? ?\Z")
_GERMAN_WORDS = "und mit nicht der die das kein keine keinen ohne bei nach im zur zum wurde ist eine einer links rechts"
_GERMAN = frozenset(_GERMAN_WORDS.split())
_LOWER_NAME = re.compile("[a-z]{4,}, ?[a-z]{3,}")
_NAME_AND_NUMBER = re.compile(r"([^\W\d_]{4,})[ ,:;]+[\d\W]+")
_LONGEST_LABEL = 5


def clues_in_names(text: str) -> Iterator[Clue]:
    """The clues of people in a folded text (case kept)."""
    text = _OF_TWO_NAMES.sub("", text)
    if _is_titled(text):
        yield _TITLED
    if _KIN.search(text):
        yield _RELATIVE
    if (
        any(_may_be_named(found[1]) for found in _BY.finditer(text))
        or any(not is_ordinary(found[1]) for found in _ROLE.finditer(text))
        or any(_is_unexplained(word) or is_surname(word) for word in names_by_deed(text))
        or any(not sounds_ordinary(word) and word.casefold() not in EPONYMS for word in words_addressed(text))
    ):
        yield _BESIDE
    if is_initialled(text):
        yield _SIGNED
    words = _WORD.findall(text)
    if any(is_given_name(word) or is_surname(word) or is_name_in_lower_case(word) for word in _bare(words)):
        yield _GIVEN
    if _is_written_like_a_name(text, words) or (
        not text.isascii() and (_OTHER_SCRIPTS.search(text) or may_name_in_other_script(text))
    ):
        yield _WRITTEN
    elif _has_stray_capital(text, words):
        yield _CAPITAL


def _bare(words: Sequence[str]) -> list[str]:
    return [word for each in words if each.casefold() not in DISEASES for word in (each, each.split("'")[0])]


def clue_of_person(text: str) -> Clue | None:
    """The clue of a text that is a whole name, such as "Surname, First" or one with a given name in it."""
    words = _WORD.findall(text)
    if any(is_given_name(word) for word in _bare(words)):
        return _GIVEN
    if "," in text and len(words) == 2 and all(map(_is_unexplained, words)):
        return _WRITTEN
    return None


def _is_titled(text: str) -> bool:
    return any(
        len(found[1]) > 1 and not is_ordinary(found[1].split()[-1])
        and (found[1][0].isupper() or not _CLINICIANS.match(found[0]))
        for found in _TITLE.finditer(text)
    )  # fmt: skip


def _may_be_named(word: str) -> bool:
    if word in TEAMS or is_ordinary(word):
        return False
    return word[0].isupper() or (len(word) > 3 and not sounds_ordinary(word))


@lru_cache(maxsize=65_536)
def _is_unexplained(word: str) -> bool:
    """A capitalised word of four letters or more that neither the lists nor its ending explain."""
    lower = word.casefold()
    if len(word) < 4 or not word[0].isupper() or lower in EPONYMS or lower in DISEASES:
        return False
    if lower.endswith("'s") and lower[:-2] in SURELY_EPONYMS:
        return False
    if word.isupper():
        return len(word) > 4 and bool(re.search("[AEIOUY]", word)) and not sounds_ordinary(word)
    return not sounds_ordinary(word)


def _is_borne(word: str) -> bool:
    """Whether an eponym may be a patient's name as well."""
    return word.casefold() in EPONYMS and word.casefold() not in SURELY_EPONYMS


def forget_words() -> None:
    """Drop the words kept to save time."""
    _is_unexplained.cache_clear()


def _is_written_like_a_name(text: str, words: Sequence[str]) -> bool:
    beside = [found[1] for pattern in (_INITIALS_FIRST, _INITIALS_LAST) for found in pattern.finditer(text)]
    parts = [part for word in beside for part in word.split("-")]
    if any(_is_unexplained(part) or (len(part) == 3 and not is_ordinary(part)) for part in parts):
        return True
    if (numbered := _NAME_AND_NUMBER.fullmatch(text)) and numbered[1].istitle() and _is_unexplained(numbered[1]):
        return True
    if not 0 < len(words) <= _LONGEST_LABEL or any(character.isdigit() for character in text):
        return False
    own = [word for word in words if word.casefold() not in _PARTICLES or word[0].isupper()]
    if _LOWER_NAME.fullmatch(text):
        return not any(map(sounds_ordinary, words))
    if not own or not all(word[0].isupper() for word in own):
        return False
    if len(own) == 1:
        return _is_unexplained(own[0]) or (len(own[0]) > 3 and _is_borne(own[0]) and own[0].istitle())
    return any(_is_unexplained(word) for word in own) or (text.isupper() and _are_unknown_capitals(own))


def _are_unknown_capitals(words: Sequence[str]) -> bool:
    return len(words) > 1 and all(
        len(word) > 3 and not is_ordinary(word) and re.search("[AEIOUY]", word) for word in words
    )


def _has_stray_capital(text: str, words: Sequence[str]) -> bool:
    """Whether a capital inside a sentence, where English writes none, belongs to no known word."""
    if not any(map(_is_unexplained, words)) or text.isupper():
        return False
    if not _GERMAN.isdisjoint(word for word in words if word.islower()):
        return False
    return any(_is_unexplained(found[0]) and not _begins(text, found.start()) for found in _WORD.finditer(text))


def _begins(text: str, start: int) -> bool:
    return start == 0 or bool(_BREAK.search(text[max(0, start - 3) : start]))


_INITIALS = re.compile(r"(?:[A-Z]\.? ?){2,3}\Z")


def is_pseudonym(text: str) -> bool:
    """Whether a folded operator is "A", "op1", "consultant 2" or made of ordinary words; several may be joined."""
    return all(_is_one_pseudonym(part.strip()) for part in re.split(r"[;,/+&]| and | with ", text) if part.strip())


def _is_one_pseudonym(text: str) -> bool:
    words = _WORD.findall(text)
    if any(len(word) > 2 and not (is_ordinary(word) or word.casefold() in ("op", "ops", "anon")) for word in words):
        return False
    return not (_INITIALS.match(text) and not is_ordinary(text))
