"""Places smaller than a state: streets, postcodes of several countries, hospitals and homes."""

from __future__ import annotations

import re
from collections.abc import Iterator

from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.privacy.vocabulary import is_ordinary

_STREET = Clue(kind="place", rule="it is written like a street address", hard=True)
_POSTCODE = Clue(kind="place", rule="it is written like a postcode")
_NAMED = Clue(kind="place", rule="a word beside a hospital, town or home that may be a place")

_STREETS = re.compile(
    r"\b\d{1,4}[a-z]?,? (?:[A-Z][A-Za-z']+ ){1,3}(?:Street|St|Road|Rd|Avenue|Ave|Lane|Ln|Drive|Dr|Close|Court|Ct|"
    r"Way|Crescent|Cres|Terrace|"
    r"Gardens|Grove|Square|Boulevard|Blvd|Highway|Parkway|Hill|Mews|Row)\b"
    r"|\b[A-Z][A-Za-z\-]{2,}(?:[Ss]trasse|[Ss]tr\.|weg|platz|allee|gasse|straat|laan|gracht|gatan|vagen|vej|veien|"
    r"katu)\.? \d{1,4}"
    r"|\b[A-Z][a-z\-]{2,}[ \-](?:Strasse|Str\.|Weg|Platz|Allee|Gasse) \d{1,4}"
    r"|\b\d{1,4},? ?(?:bis |ter )?(?:rue|avenue|boulevard|bd|place|chemin|allee|quai|impasse) (?:de |du |des |la |"
    r"l')*[A-Z]"
    r"|\b(?:via|viale|piazza|corso|calle|c/|avenida|avda\.?|plaza|paseo|rua|praca|ul\.|ulica) (?:de |del |della |"
    r"la |las |los )*[A-Z][a-z]+,? "
    r"(?:n\.? ?)?\d{1,4}\b"
    r"|\bp\.? ?o\.? box \d|\bpostfach \d",
)
_BOX = re.compile(r"\bp\.? ?o\.? box \d|\bpostfach \d|\b(?:flat|apartment|apt) \d{1,4}[a-z]?,? (?:[a-z]+ )?(?:house|"
                  r"court|street|road)", re.IGNORECASE)
_POSTCODES = re.compile(
    r"\b(?:[A-Z]{1,2}\d[A-Z\d]? ?\d(?!FR|HR)[ABD-HJLNP-UW-Z]{2}"  # United Kingdom
    r"|[ABCEGHJ-NPRSTVXY]\d[A-Z] ?\d[A-Z]\d"  # Canada
    r"|\d{5}-\d{4}|(?!CT|MR|OP|ID|PT)[A-Z]{2},? \d{5}"  # United States
    r"|(?:D|F|I|E|CH|A|B|L|NL|DK|S|N)-\d{4,5}"
    r"|\d{3} \d{2}(?= [A-Z][a-z]{2,})"  # Sweden, Czechia
    r"|\d{2}-\d{3}(?= [A-Z][a-z]{2,})"  # Poland
    r")(?![\w\-])"
)
_DUTCH = re.compile(r"(?:\A|, )[1-9]\d{3} ?(?!ML|CC|MG|GM|MM|CM|KG|CT|MR|US|SA|SD|SS)[A-Z]{2}(?:\Z| [A-Z][a-z]{2,})")
_TOWN_AFTER = re.compile(r"(?<![\d.,])(?:\d{5}|\d{4}) ([A-Z][a-z]{3,})(?: ?[(,/]|\Z| [A-Z])")
_INSTITUTION = re.compile(
    r"\b([A-Z][A-Za-z']{2,})(?:'s)? (?:(?:General|District|University|Royal|Community|Memorial|Regional|County|"
    r"Children's|City|Teaching) ){0,2}"
    r"(?:Hospital|Hosp|Infirmary|Clinic|Hospice|Surgery|Medical Cent(?:re|er)|Health Cent(?:re|er)|Nursing Home|"
    r"Care Home|NHS Trust|Trust|"
    r"Klinikum|Krankenhaus|Klinik|Spital|Ziekenhuis|Prison|University|School|College)\b"
    r"|\b(?:Hospital|Hopital|Hospices|Ospedale|Klinikum|Krankenhaus|Universitatsklinikum|Universitatsspital|CHU|"
    r"CHRU|Clinique|Clinica|Policlinico|"
    r"St|Saint|Santa|San|Queen|King|Prince|Princess|Royal)\.? (?:de |du |di |of |von )?([A-Z][A-Za-z']{3,})"
)
_HOME = re.compile(
    r"\b(?:lives?|living|resident|resides?|residing|born|moved|home|house|flew|travell?(?:ed|ing|s)|drove|drives|"
    r"back|holiday|wohnhaft|wohnt|"
    r"habite|vive|tourist|visiting|repatriated)\b (?:alone |abroad |back |over )?(?:in|at|near|to|from|outside|a|en|"
    r"aus)\b (?:the )?(?:town of |village of |city of )?([A-Z][a-z]{2,})"
    r"|\b(?:transferred|referred|transfer|referral|repatriated|came|sent|ambulance|flown|transported|admitted|back|"
    r"returned|repat)\b "
    r"(?:in |over |back |here )?(?:from|to|via|at)\b (?:the )?([A-Z][a-z]{2,})"
    r"|\b(?:town|village|city|county|suburb|parish|district|island) of ([A-Z][a-z]{2,})",
    re.IGNORECASE,
)


def clues_in_places(text: str) -> Iterator[Clue]:
    """The clues of places in a folded text (case kept)."""
    if _STREETS.search(text) or _BOX.search(text):
        yield _STREET
    if any(digit in text for digit in "0123456789") and _has_postcode(text):
        yield _POSTCODE
    if _names_a_place(text):
        yield _NAMED


def _has_postcode(text: str) -> bool:
    if _POSTCODES.search(text) or _DUTCH.search(text):
        return True
    return any(not is_ordinary(found[1]) for found in _TOWN_AFTER.finditer(text))


def _names_a_place(text: str) -> bool:
    found = (each for pattern in (_INSTITUTION, _HOME) for each in pattern.finditer(text))
    return any(word[0].isupper() and not is_ordinary(word) for each in found for word in each.groups() if word)
