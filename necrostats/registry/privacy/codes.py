"""Addresses of computers and people, codes of devices, and words that announce a number.

Places smaller than a state: streets, postcodes of several countries, hospitals and homes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from necrostats.registry.privacy.names import is_ordinary
from necrostats.registry.privacy.suspicions import Clue

_HEX = "[0-9a-fA-F]"
_NUMBER_WORD = r"(?:\.?[ \-]?(?:no|nr|n°|n\.|num|number|numero|nummer|id|ids|code|card|ref|memb|pin|#))?"
_LINK = r"[.:#=]{0,2} ?(?:is )?[#:°]? ?"


def _announced(words: str, shape: str) -> re.Pattern[str]:
    return re.compile(rf"\b(?:{words}){_NUMBER_WORD}(?![a-z]){_LINK}{shape}", re.IGNORECASE)


_CODE = r"(?=[a-z0-9/\-]{0,12}\d)[a-z0-9/\-]{4,24}(?![a-z0-9])"
_DIGITS_4 = r"[a-z]{0,3}[- ]?\d[\d /\-]{2,18}\d"
_DIGITS_5 = r"[a-z]{0,3}[- ]?\d[\d /\-]{3,18}\d"
_CODE_OF_FOUR = r"(?=(?:[a-z\-/ ]{0,4}\d){4})[a-z0-9][a-z0-9 /\-]{3,20}"
_CODE_7 = r"(?=(?:[a-z\-/ ]{0,6}\d){6})[a-z0-9][a-z0-9 /\-]{5,20}"
_CODE_5 = r"(?=(?:[a-z\-/.]{0,6}\d){5})[a-z0-9/\-.]{5,40}"

_BY_DIGITS = (
    (
        ".",
        re.compile(
            r"(?<![\d.])(?:(?:25[0-5]|2[0-4]\d|[01]?\d?\d)\.){3}(?:25[0-5]|2[0-4]\d|"
            r"[01]?\d?\d)(?![\d.])"
        ),
        Clue(kind="ip_address", rule="a computer's address", hard=True),
    ),
    (
        "",
        re.compile(r"\(01\) ?\d{8,14}|\((?:10|17|21|240)\) ?[A-Z0-9]{4,20}|\][dC]\d|(?<!\d)01\d{14}(?:1[017]\d|21)"),
        Clue(kind="device", rule="the code printed on a device", hard=True),
    ),
)

# One line a rule: what the text must hold before the pattern is tried, the pattern, the clue.
_RULES = (
    (
        "@",
        re.compile(r"[\w.%+\-]{1,64} ?@ ?[a-z0-9\-]{1,63}(?: ?\. ?[a-z0-9\-]{1,63}){1,4}", re.IGNORECASE),
        Clue(kind="email", rule="an e-mail address", hard=True),
    ),
    (
        "",
        re.compile(
            r"[\w.%+\-]{2,64} ?[(\[{< ]at?[)\]}> ] ?[a-z0-9\-]{2,63}(?:\.|"
            r" ?[(\[{< ](?:dot|punkt|point|punto)[)\]}> ] ?)[a-z]{2,10}\b",
            re.IGNORECASE,
        ),
        Clue(kind="email", rule="an e-mail address", hard=True),
    ),
    (
        "",
        re.compile(
            r"(?<!\w)[A-Z]:\\[\w]|\b\w[\w\-]{1,40}\.(?:io|ly|uk|local|lan|intranet|cloud)/\w|"
            r"\bh[tx]{2}ps?\b ?:|\bwww ?\. ?[a-z0-9]",
            re.IGNORECASE,
        ),
        Clue(kind="url", rule="a web or file address", hard=True),
    ),
    (
        "",
        re.compile(
            r"\b(?:https?|ftp|file)\s?:\s?//|\bwww\.[a-z0-9]|\\\\[a-z0-9]|(?<![@\w.\-])"
            r"[a-z0-9\-]{2,63}\.(?:com|"
            r"org|"
            r"net|edu|gov|info|"
            r"example|test|invalid|co\.uk|ac\.uk|nhs\.uk|de|ch|eu)(?:/|\b)",
            re.IGNORECASE,
        ),
        Clue(kind="url", rule="a web or file address", hard=True),
    ),
    (
        ":",
        re.compile(
            rf"(?<![\w:])(?:(?:{_HEX}{{1,4}}:){{3,7}}{_HEX}{{1,4}}|"
            rf"(?:{_HEX}{{1,4}}:){{1,6}}(?::{_HEX}{{1,4}}){{1,6}})(?![\w:])"
        ),
        Clue(kind="ip_address", rule="a computer's address", hard=True),
    ),
    (
        "",
        re.compile(rf"(?<!\w){_HEX}{{2}}([:\-]){_HEX}{{2}}(?:\1{_HEX}{{2}}){{4}}(?!\w)"),
        Clue(kind="ip_address", rule="the address of a network card", hard=True),
    ),
    (
        "-",
        re.compile(rf"{_HEX}{{8}}-{_HEX}{{4}}-{_HEX}{{4}}-{_HEX}{{4}}-{_HEX}{{12}}"),
        Clue(kind="other_code", rule="a code made to be unique", hard=True),
    ),
    (
        ".",
        re.compile(r"(?<![\d.])\d{1,9}(?:\.\d{1,20}){5,}+"),
        Clue(kind="other_code", rule="the unique number of an image or object", hard=True),
    ),
    (
        "",
        re.compile(rf"(?<!\w)(?={_HEX}{{0,40}}\d)(?={_HEX}{{0,40}}[a-fA-F]){_HEX}{{16,}}+(?!\w)"),
        Clue(kind="other_code", rule="a code made to be unique", hard=True),
    ),
    (
        "",
        re.compile(r"(?<!\w)(?=\w{0,40}\d\w{0,40}[A-Za-z]\w{0,40}\d)[A-Za-z0-9_\-]{20,}+(?!\w)"),
        Clue(kind="other_code", rule="a long code of letters and digits"),
    ),
    (
        "",
        _announced(
            r"s/n|s\.n\.?|sn|serial|serien|ser|lot|charge|chargen|batch|ref|udi|gtin|catalogue|cat|"
            r"n° de serie|numero de serie|los-?nr|lotto|lote|matricola",
            _CODE,
        ),
        Clue(kind="device", rule="a word for a serial or lot number with a number", hard=True),
    ),
    (
        "",
        _announced(
            r"m\.?r\.?n\.?|hosp(?:ital)?\.?|hn|medical record|emr|ehr|nhs|chi|accession|acc(?!\.? to )|"
            r"dossier|ipp|"
            r"fallnr|akte|"
            r"aktenzeichen|encounter|krankenblatt|historia(?: clinica)?|hist\.? ?clin(?:ica)?\.?|nhc|"
            r"cartella(?: clinica)?|nosografico|"
            r"ricovero|urn|upi|uhid|fallnummer|patienten-?(?:nummer|nr)|aufnahme-?(?:nummer|nr)|"
            r"journalnr|historii|n° dossier|crn|hosp num",
            _DIGITS_4,
        ),
        Clue(kind="record_number", rule="a word for a record number with a number", hard=True),
    ),
    (
        "",
        re.compile(
            r"\b(?:unit|chart|lab|specimen|histology|journal|fall|request|order|exam|study uid|account|bill|"
            r"pass|tax|ni|trial|subject|participant|sample|donor)"
            r" ?-?(?:no|nr|num|number|numero|nummer|"
            r"id)\b[.:#= ]{0,3}[a-z]{0,3}[- ]?\d[\d /\-]{2,18}\d",
            re.IGNORECASE,
        ),
        Clue(kind="record_number", rule="a word for a record number with a number", hard=True),
    ),
    (
        "",
        _announced(r"pat(?:ient)?\.?|pt|case|record|pid|episode|visit|identifier|id", _DIGITS_5),
        Clue(kind="record_number", rule="a word for a record number with a number", hard=True),
    ),
    (
        "",
        re.compile(
            r"\b(?:old |paper |case |hospital )?(?:notes|casenotes|folder)(?: ?(?:no|"
            r"number))?\b[.:# ]{1,3}\d(?:[ \-/]?\d){5,}",
            re.IGNORECASE,
        ),
        Clue(kind="record_number", rule="a word for a record number with a number", hard=True),
    ),
    (
        "",
        _announced(
            r"trial|subject|participant|redcap|isrctn|eudract|wrist ?band|biobank|specimen|sample|accession|"
            r"uid|token|"
            r"hash|barcode|bar code|blood bag|donor|donor unit|study uid|initials?\+?dob|guid|uuid",
            _CODE_5,
        ),
        Clue(kind="other_code", rule="a word for a code of one person with a code", hard=True),
    ),
    (
        "",
        re.compile(
            r"\b(?:pw|pwd|password|passwort|passwd|pin|login|user ?name|mot de passe|"
            r"contrasena)\b ?[:=] ?\S{3,}",
            re.IGNORECASE,
        ),
        Clue(kind="other_code", rule="a word for a password or login", hard=True),
    ),
    (
        "",
        re.compile(rf"(?<!\w)(?=(?:{_HEX}{{0,9}}?\d[a-fA-F]){{3}}){_HEX}{{10,}}+(?!\w)"),
        Clue(kind="other_code", rule="a code made to be unique"),
    ),
    (
        "",
        _announced(
            r"insurance|insured|policy|member(?:ship)?|beneficiary|medicare|medicaid|versicherung|"
            r"versicherten|versicherungs|kvnr|"
            r"mutuelle|health plan|subscriber|group policy|memb|vers(?:\.[ \-]?|-| )nr|health card|"
            r"carte vitale|nhi|nfz|ziekenfonds|"
            r"poliza|polizza|insur",
            _CODE_OF_FOUR,
        ),
        Clue(kind="health_plan", rule="a word for insurance with a number", hard=True),
    ),
    (
        "",
        _announced(
            r"account|acct|a/c|invoice|konto|kto|sort code|iban|cuenta|compte|rechnung|rechn|factura|fattura|"
            r"facture|"
            r"faktura|card ending(?: in)?|(?:credit|debit) card|card(?=[ :#no.]{1,6}\d{4}[ -]?\d{4})",
            _DIGITS_4,
        ),
        Clue(kind="account", rule="a word for an account with a number", hard=True),
    ),
    (
        "",
        _announced(
            r"licen[cs]e|licencia|certificate|cert|gmc|npi|nmc|lanr|rpps|dea|registration|passport|"
            r"driving licen[cs]e|reisepass|pass(?:e?port|aporte|aporto)|fuhrerschein|driving lic|dl no|"
            r"permis de conduire|hcpc|ahpra|"
            r"medical council|arzt-?(?:nr|nummer)|ausweis|personalausweis|identity card|id card",
            _CODE_OF_FOUR,
        ),
        Clue(kind="licence", rule="a word for a certificate or licence with a number", hard=True),
    ),
    (
        "",
        _announced(
            r"ssn|social security|national insurance|national id|personnummer|cpr|bsn|ahv|avs|pesel|dni|nie|"
            r"aadhaar|"
            r"steuer-?id",
            _DIGITS_4,
        ),
        Clue(kind="national_number", rule="a word for a national number with a number", hard=True),
    ),
    (
        "",
        _announced(
            r"svnr|sv-nr|tckn|tc kimlik|nir|insee|ppsn?|niss|nif|r\.c\.|c\.f\.|rodne cislo|codice fiscale|"
            r"cnp|oib|"
            r"hetu|fnr|pnr|jmbg|egn|nss|ss ?#|nino|nat\.? ?ins\.?",
            _CODE_7,
        ),
        Clue(kind="national_number", rule="a word for a national number with a number", hard=True),
    ),
    (
        "",
        re.compile(
            r"\b(?:number ?plate|licen[cs]e plate|(?:vehicle|car|plate) (?:reg(?:istration)?|no|number)|"
            r"kennzeichen|immat\w*|matricula|targa|vin|kfz|car reg)\b"
            r"(?: (?:reg(?:istration)?|no|number|"
            r"is)\b){0,2}[.:# ]{0,3}(?=[a-z \-]{0,8}\d)[a-z0-9][a-z0-9 \-]{3,17}",
            re.IGNORECASE,
        ),
        Clue(kind="vehicle", rule="a word for a vehicle with a number", hard=True),
    ),
    (
        "",
        re.compile(
            r"\b(?i:plaque|plate|tablica|ambulance|parked|drives|voiture|car|auto|reg)\b[,.:]? (?i:reg |no |"
            r"is )?[.:# ]{0,2}"
            r"(?:[A-Z]{1,3}[ \-]?[A-Z]{0,2}[ \-]?\d{2,4}[ \-]?[A-Z]{1,3}|"
            r"[A-Z]{1,3}[ \-][A-Z]{1,2}[ \-]?\d{2,4}|\d{2,3}-[A-Z]{1,2}-\d{1,6})\b"
        ),
        Clue(kind="vehicle", rule="a word for a vehicle with a number", hard=True),
    ),
    (
        "",
        re.compile(r"(?<![\w])(?=[A-HJ-NPR-Z]{0,16}\d)(?=\d{0,16}[A-HJ-NPR-Z])[A-HJ-NPR-Z0-9]{17}(?!\w)"),
        Clue(kind="vehicle", rule="it is written like the number of a vehicle"),
    ),
    (
        "",
        re.compile(
            r"(?<![\w\-])(?:[A-Z]{2}\d{2} ?[A-HJ-PR-Z]{3}|[A-Z]{2}-\d{3}-[A-Z]{2}|"
            r"[A-Z]{1,3}-[A-Z]{1,2} ?\d{3,4}|"
            r"\d{2,3}-[A-Z]{1,2}-\d{3,6})(?![\w\-])"
        ),
        Clue(kind="vehicle", rule="it is written like a number plate"),
    ),
    (
        "",
        re.compile(
            r"\b(?:finger|thumb) ?-?prints?\b|\b(?:retinal?|iris|face|facial|palm|hand|ear)(?: vein)? ?-?"
            r"(?:scan|print|template|recognition|id\b|geometry)|\bvoice ?-?(?:print|recording|sample|id\b)|"
            r"\bbiometri|"
            r"\bdna (?:profile|fingerprint|sample|swab|no\b)|\bempreinte digitale|\bimpronta digitale|"
            r"\bhuella (?:digital|dactilar)|"
            r"\bfingerabdr",
            re.IGNORECASE,
        ),
        Clue(kind="biometric", rule="a word for a biometric identifier", hard=True),
    ),
    (
        "",
        re.compile(
            r"\b(?:photo(?:graph)?s?|picture|image|selfie|foto|bild) (?:of |von |de )?(?:the |his |her |"
            r"pt'?s |patient'?s |du |der |des )?"
            r"(?:patient|face|pt\b|wound and face|visage|gesicht)|\b(?:full[ -]?face|facial|passport|"
            r"portrait) (?:photo|picture|image)|"
            r"\b[\w\-]{1,60}\.(?:jpe?g|png|heic|tiff?|bmp|mp4|mov|avi|dcm)\b|\bselfie\b|"
            r"\btattoo",
            re.IGNORECASE,
        ),
        Clue(kind="photograph", rule="a picture of a person, or the file of a picture"),
    ),
)


def clues_in_exact_codes(text: str) -> Iterator[Clue]:
    """The clues that hang on which digits a folded text holds."""
    yield from _found(_BY_DIGITS, text)


_WITHOUT_DOT = re.compile(r"(?<![\w@.])[a-z][\w.+\-]{3,63}@([a-z][a-z\-]{4,62})(?![\w.@])", re.IGNORECASE)
_MAY_BE_MAIL = Clue(kind="email", rule="it may be an e-mail address")


def clues_in_codes(text: str) -> Iterator[Clue]:
    """The clues of addresses, unique codes and announced numbers in a folded text; any digit is as good as another."""
    yield from _found(_RULES, text)
    if "@" in text and any(not is_ordinary(found[1]) for found in _WITHOUT_DOT.finditer(text)):
        yield _MAY_BE_MAIL


def _found(rules: tuple[tuple[str, re.Pattern[str], Clue], ...], text: str) -> Iterator[Clue]:
    for needed, pattern, clue in rules:
        if needed in text and pattern.search(text):
            yield clue
