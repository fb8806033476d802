"""People in a text: titles, initials, words beside a staff role, relatives, and capitals that no list explains.

A surname in lower case cannot be told from a word: only those on the lists, with a surname's ending, after a title or
before a person's deed are found. One lower-case word that is all of a cell passes, as codes are written so.

Words that a person's deed, an address or a signature makes a name: "Brandelow rang", "mr brandelow", "done by KLM".

Initials without such a word cannot be told from abbreviations, and pass.

The commonest given names and surnames of many languages, folded; a list of names is never complete.

Names in scripts without capitals. No word of these scripts is on the lists but a few: a short text is suspected.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path

from necrostats.registry.codebook import TABLES
from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.text import fold, ordinary_words


def word_list(name: str) -> list[str]:
    """The folded words of one list in the folder `words`."""
    lines = (Path(__file__).with_name("words") / f"{name}.txt").read_text(encoding="utf-8").splitlines()
    return [word for line in lines if not line.startswith("#") for word in line.split()]


_MEDICAL_ENDINGS = re.compile(
    r"(?:itis|osis|oses|otic|ectomy|ectomies|ostomy|otomy|oscopy|oscopic|scopically|ography|graphic|aemia|emia|aemic|"
    r"emic|"
    r"uria|pathy|plasty|cillin|mycin|azole|penem|floxacin|parin|coccus|coccal|oma|omas|rrhage|rrhagic|rrhoea|algia|"
    r"plegia|"
    r"megaly|centesis|pancreatic|intestinal|vascular|thoracic|colic|gastric|duodenal|abdominal|peritoneal|lateral|"
    r"skop(?:ie|isch)|ektomie|blutung|ismus|amide|statin|micin|mab|"
    # German compounds are known by their last part.
    r"[a-z]{3}(?:zange|schlinge|netz|korb|korbchen|ballon|wechsel|drainage|kontrolle|entfernung|spulung|stent|zyste|"
    r"nekrose|"
    r"dislokation|katheter|sonde|nadel|gewebe|gefass|hohle|infekt|schmerz|fieber|"
    r"material|reste|aufnahme|therapie|verletzung|erguss|embolie|stauung|einlage|punktion))\Z"
)
_COMMON_ENDINGS = re.compile(
    r"(?:tion|tions|ment|ments|ness|ated|ised|ized|able|ible|ously|ally|ical|ious|ative|ance|ence|ency|ivity|ility|"
    r"ung|ungen|"
    r"keit|heit|schaft|lich|isch|ische|tis|cion|zione|mente|ante|ively|ular|eous)\Z"
)


def _codebook_words() -> set[str]:
    columns = [column for table in TABLES.values() for column in table.columns]
    texts = [text for column in columns for text in (column.name, column.meaning, *column.codes)]
    return set(re.findall(r"[a-z]{2,}", " ".join(texts).casefold()))


DISEASES = frozenset(f"{name}'s" for name in word_list("diseases"))
SURELY_EPONYMS = frozenset(word_list("surely_eponyms"))
EPONYMS = frozenset(word_list("devices_and_scores")) | SURELY_EPONYMS
_WITHOUT_UMLAUTS = str.maketrans({"ä": "a", "ö": "o", "ü": "u", "ß": "ss"})
_ORDINARY = (
    frozenset(
        word.translate(_WITHOUT_UMLAUTS)
        for name in ("clinical", "general", "german", "romance")
        for word in word_list(name)
    )
    | _codebook_words()
)
# As they stand: English endings after such short words would explain surnames.
_UNINFLECTED = frozenset(word_list("shorthand") + word_list("other_languages")) | ordinary_words()
_INFLECTIONS = re.compile(r"(?:'s|es|ed|ing|er|ly|s|d|n|e)\Z")


def is_ordinary(word: str) -> bool:
    """Whether a folded word is on the lists, or an inflection of one that is, or has a medical ending."""
    lower = word.casefold()
    if lower in _ORDINARY or lower in _UNINFLECTED or _MEDICAL_ENDINGS.search(lower):
        return True
    return _INFLECTIONS.sub("", lower) in _ORDINARY


def sounds_ordinary(word: str) -> bool:
    """Whether a word is ordinary or at least ends as nouns and adjectives do and surnames seldom do."""
    return is_ordinary(word) or bool(len(word) > 6 and _COMMON_ENDINGS.search(word.casefold()))


_DEED = re.compile(
    r"([A-Z][^\W\d_]{3,})(?:'s)? (?:family|list|pts|patients|notes|rang|phoned|called|asks?|asked|wants?|wanted|wishes|"
    r"wished|agrees?|agreed|aware|informed|updated|upset|requests?|requested|declines?|declined|refused|consents|"
    r"consented|attended|attending|scrubbed|assisting|assisted|says|said|thinks|would like|keen|anxious|on call|"
    r"operating|to (?:review|see|call|ring|phone|do|scope|confirm)|to be (?:phoned|called|rung|told|informed)|"
    r"informiert|verstandigt|angerufen|wunscht|aufgeklart|prevenu|appele|avvisat[oa]|informad[oa]|consenziente)\b"
)
_LOWER_DEED = re.compile(
    r"([a-z]{5,}) (?:rang|phoned|wants?|wanted|wishes|asks?|asked|says|said|keen|upset|tearful|declines?|declined|"
    r"refused|consented|agrees|agreed|requested)\b"
)
_ADDRESSED = re.compile(
    r"\bm[rs]\.? ((?!angio|cholangio|entero|uro|pancrea|spectro|contin|liver|scan|sequen)[a-z]{5,})"
)
_SPOKEN_TO = re.compile(
    r"([A-Z][^\W\d_]{3,}), ?(?:please|pls|can (?:you|u)|could you|thanks|bitte|danke|svp|merci|por favor|grazie)\b"
)
_SIGNED_BY = re.compile(
    r"\b(?i:done|performed|scoped|entered|typed|signed|inserted|placed|removed|consented|scrubbed|assisted|checked|"
    r"seen|reviewed|operated|taken|countersigned|initialled) (?i:by) ([A-Z]{2,3})(?![\w'])"
)
_INITIALS_ARE = re.compile(
    r"\b(?i:initials?|init|signed|sig|op|operator|by)\b(?: (?i:are|is))? ?[:=]? ?(?:[A-Z]\. ?){2,3}"
    r"|\b(?i:initials?)(?:\+?\w{0,20})\b[ :=]{1,3}[A-Z]{2,4}\d{0,4}\b"
)
_TEAMS = """
IR ITU ICU HPB GI GP MDT CNS SHO SPR ED AE OT PT SLT ENT HDU RMO FY ST ODP RN HCA UGI LGI SPN ANP CCU NOK DSN MTC PCP
MD PA ER OR SAU AMU MAU DCC CCO ONC URO TVN DN RD ACP CPN CTS GS GIM ICM MR CT US EUS GA LA IV NG NJ MRI RT ID UK EU
HB OP AM PM BMI TTO APC OTC DPT RTF NCD FNA FNB PEG
"""
TEAMS = frozenset(_TEAMS.split())
"""Abbreviations of teams, tests and instruments that stand where initials might."""


def names_by_deed(text: str) -> Iterator[str]:
    """Capitalised words of a folded text of which something is told that only a person does or has."""
    return (found[1] for found in _DEED.finditer(text))


def words_addressed(text: str) -> Iterator[str]:
    """Words after "mr" or "ms" in lower case, a lower-case word that begins with a deed, a word that is asked."""
    yield from (found[1] for found in _ADDRESSED.finditer(text))
    yield from (found[1] for each in (_LOWER_DEED, _SPOKEN_TO) if (found := each.match(text)))


def is_initialled(text: str) -> bool:
    """Whether a folded text says by whose initials something was done."""
    return any(found[1] not in TEAMS for found in _SIGNED_BY.finditer(text)) or bool(_INITIALS_ARE.search(text))


GIVEN_NAMES = frozenset(word_list("given_names"))
SURNAMES = frozenset(word_list("surnames"))
_LOWER = (GIVEN_NAMES | SURNAMES) - frozenset(word_list("names_and_words_too"))
_SHORTEST_LOWER = 4
# Ends that surnames have and words of the languages of the lists hardly ever.
_ENDINGS = re.compile(
    r"[a-z]{2,}(?:akis|opoulos|opoulou|oglu|wicz|czyk|owski|owska|ewski|ewska|inski|inska|escu|enko|ovic|evic|sson|"
    r"dottir|"
    r"shvili|iadis|ovsky|ovskaya|vych|chuk|quist|qvist|ainen|brecht|huizen)"
)
_LONG_ENOUGH = 7


def is_given_name(word: str) -> bool:
    """Whether a capitalised folded word is a given name and no ordinary word."""
    return word[0].isupper() and word.casefold() in GIVEN_NAMES and not is_ordinary(word)


def is_surname(word: str) -> bool:
    """Whether a capitalised folded word is one of the commonest surnames, and neither an eponym nor ordinary."""
    if not word[0].isupper() or (len(word) < _SHORTEST_LOWER and word.isupper()):
        return False
    lower = word.casefold()
    return lower in SURNAMES and lower not in EPONYMS and not is_ordinary(word)


def is_name_in_lower_case(word: str) -> bool:
    """Whether a folded word in lower case is a name that means nothing else, or ends as surnames alone do."""
    if len(word) < _SHORTEST_LOWER or not word.islower():
        return False
    found = word in _LOWER or (len(word) >= _LONG_ENOUGH and _ENDINGS.fullmatch(word) is not None)
    return found and not is_ordinary(word)


_CASELESS = (
    "\u0590-\u05ff\u0600-\u06ff\u0900-\u0dff\u0e00-\u0e7f\u10d0-\u10ff\u1100-\u11ff"
    "\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff"
)
_ANY = re.compile(f"[{_CASELESS}]")
_DIGIT = re.compile(r"\d")
_RUN = re.compile(f"[{_CASELESS}]+")
_IDEOGRAPH = re.compile("[\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff]")
_MOST_WORDS = 3
_MOST_IDEOGRAPHS = 6
# None, yes, no, and the commonest findings, in the languages of these scripts.
_WORDS = """
无 無 有 是 否 出血 感染 穿孔 发热 發熱 疼痛 死亡 引流 良好 坏死 壊死 固体
液体 胆石 酒精 なし あり はい いいえ 発熱 腹痛
없음 있음 출혈 감염 천공 발열 통증 사망 لا نعم نزيف عدوى ثقب حمى ألم وفاة אין יש דימום זיהום חום כאב
नहीं हाँ रक्तस्राव संक्रमण बुखार दर्द ไม่มี มี เลือดออก ติดเชื้อ ไข้
"""
_TITLES = "환자 선생님 씨 السيد السيدة الدكتور الدكتورة גברת פרופ श्री श्रीमती डॉ นาย นาง คุณ"
_KNOWN = frozenset(map(fold, _WORDS.split()))
_HONORIFIC = re.compile(
    "[\u3040-\u30ff\u4e00-\u9fff]{1,6}(?:様|さん|氏|殿|先生|医師|医生|醫生|医师|女士|大夫|护士|護士)"
    rf"|{'|'.join(map(fold, _TITLES.split()))}"
    r"|ד\"ר|\bמר\b|\bמרת\b"
)


def may_name_in_other_script(text: str) -> bool:
    """Whether a folded text in a script without capitals is as short as a name, or holds a title of that language."""
    if not _ANY.search(text):
        return False
    if _HONORIFIC.search(text):
        return True
    words = [word for word in _RUN.findall(text) if word not in _KNOWN]
    letters = sum(each.isalpha() for each in text)
    if not words or _DIGIT.search(text) or sum(map(len, _RUN.findall(text))) < letters:
        return False
    ideographs = len(_IDEOGRAPH.findall(text))
    if ideographs:
        return 1 < ideographs <= _MOST_IDEOGRAPHS
    return len(words) <= _MOST_WORDS


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
_INITIALS_LAST = re.compile(
    r"(?<![\w'])((?:O'|Mc|"
    r"Mac)?[A-Z][a-z']{2,}(?:-[A-Z][a-z]+)?),? ?(?:[A-Z]\.(?: ?[A-Z]\.?)?|[A-Z]{1,2})(?![\w'\-/+.])"
)
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
_GRADE = re.compile("[IVX]{1,4}[a-f]?")  # of a scale, right or wrong: IIIc


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


def only_looks_so(rule: str) -> bool:
    """Whether the rule of a clue rests on the look of a word that no list explains, and on no title or name known."""
    return rule in (_WRITTEN.rule, _CAPITAL.rule, _BESIDE.rule, OPERATOR.rule)


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
        len(found[1]) > 1
        and not is_ordinary(found[1].split()[-1])
        and (found[1][0].isupper() or not _CLINICIANS.match(found[0]))
        for found in _TITLE.finditer(text)
    )


def _may_be_named(word: str) -> bool:
    if word in TEAMS or is_ordinary(word):
        return False
    return word[0].isupper() or (len(word) > 3 and not sounds_ordinary(word))


@lru_cache(maxsize=65_536)
def _is_unexplained(word: str) -> bool:
    """A capitalised word of four letters or more that neither the lists nor its ending explain."""
    lower = word.casefold()
    if len(word) < 4 or not word[0].isupper() or lower in EPONYMS or lower in DISEASES or _GRADE.fullmatch(word):
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


_LETTERED = re.compile(
    r"(?i:op|operator|operateur|operador|operatore|endoscopist|endo|arzt|untersucher)[ ._-]?(?:[A-Z]|\d{1,2})"
)


def _is_one_pseudonym(text: str) -> bool:
    if _LETTERED.fullmatch(text):
        return True
    words = _WORD.findall(text)
    if any(len(word) > 2 and not (is_ordinary(word) or word.casefold() in ("op", "ops", "anon")) for word in words):
        return False
    return not (_INITIALS.match(text) and not is_ordinary(text))
