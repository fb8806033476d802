"""Places in a text: streets, postcodes, wards, institutions and homes."""

from __future__ import annotations

import re
from collections.abc import Iterator

from necrostats.registry.privacy.names import EPONYMS, is_ordinary, sounds_ordinary
from necrostats.registry.privacy.suspicions import Clue

_STREET = Clue(kind="place", rule="it is written like a street address", hard=True)
_POSTCODE = Clue(kind="place", rule="it is written like a postcode")
_WARD = Clue(kind="place", rule="a word for a ward, bed or room with its number")
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
    r"|\b(?:(?:os|al|pl|bul|str|sok|cad|mah)\.|aleja|osiedle|plac|strada|soseaua|calea|trida|namesti) [A-Z][a-z]+,? "
    r"(?:nr\.? ?|no\.? ?)?\d{1,4}\b"
    r"|\b[A-Z][a-z]{2,} (?:utca|ulice|ulica|namesti|trida|sokak|sok\.|caddesi|cad\.|mahallesi) "
    r"\d{1,4}|\b[A-Z][a-z]{3,}(?:plein|singel|dreef|steeg|plass|torg|torget|gata|gaten|vagen|ufer|damm|hof) \d{1,4}"
    r"|(?:ул|просп|οδος)\.? ?[А-ЯΑ-Ω]\w+,? ?(?:д\.? ?)?\d",
)
_GERMAN_STREET = re.compile(
    r"(?:\A|[,;:] |wohnt |wohnhaft )(?:Am|An der|An den|Im|In der|Auf dem|Auf der|Zum|Zur|Bei der|"
    r"Unter den) ([A-Z][a-z]{3,}) "
    r"\d{1,3}[a-z]?(?:\Z|,)"
)
_BOX = re.compile(
    r"\bp\.? ?o\.? box \d|\bpostfach \d|\b(?:flat|apartment|apt) \d{1,4}[a-z]?,? (?:[a-z]+ )?(?:house|"
    r"court|street|road)",
    re.IGNORECASE,
)
_POSTCODES = re.compile(
    r"\b(?:[A-Z]{1,2}\d[A-Z\d]? ?\d(?!FR|HR)[ABD-HJLNP-UW-Z]{2}"  # United Kingdom
    r"|[ABCEGHJ-NPRSTVXY]\d[A-Z] ?\d[A-Z]\d"  # Canada
    r"|\d{5}-\d{4}|(?!CT|MR|OP|ID|PT)[A-Z]{2},? \d{5}"  # United States
    r"|(?:D|F|I|E|CH|A|B|L|NL|DK|S|N)-\d{4,5}"
    r"|(?:SE?|CZ|SK)-\d{3} \d{2}"
    r"|\d{3} \d{2}(?= [A-Z][a-z]{2,})"  # Sweden, Czechia
    r"|\d{2}-\d{3}(?= [A-Z][a-z]{2,})"  # Poland
    r")(?![\w\-])"
)
_DUTCH = re.compile(
    r"(?:\A|, )[1-9]\d{3} ?(?!IU|IE|UI|ML|CC|MG|GM|MM|CM|KG|CT|MR|US|SA|SD|SS)[A-Z]{2}(?:\Z| [A-Z][a-z]{2,})"
)
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
_INSTITUTION_ALONE = re.compile(
    r"\b([A-Z][A-Za-z']{3,}) (?:General|Royal|Infirmary|District|University|Hosp|Hospice|Lodge|Manor|Grange|Priory|"
    r"Surgery|ICU|ITU|HDU)\b(?! [a-z]*(?:anaesthe|anesthe))"
    r"|\b(?:St|Sint|Sankt|Sta|Ste|Sao|Saint-?e?)[.\- ]{1,2}([A-Z][a-z]{3,})"
    r"|\b(?:[Cc]are|[Nn]ursing|[Rr]esidential|[Rr]est) [Hh]ome[:,]? (?:the )?([A-Z][a-z]{3,})"
    r"|\b(?:Pflegeheim|Altenheim|Seniorenheim|EHPAD|[Mm]aison de retraite|[Cc]asa di riposo|"
    r"[Rr]esidencia)[:,]? ([A-Z][a-z]{3,})"
    r"|\b([A-Z][a-z]{2,})(?:-| )(?:Spital|Krankenhaus|Klinik|Hospital|Ziekenhuis|ziekenhuis|sykehus|sjukhus|sygehus)"
    r"|\b(?:Klinik(?:um)?|Krankenhaus|Spital|Clinique|Clinica|Hosp\.?|Hopital|Ospedale|Policlinico|Szpital|Sjukhuset|"
    r"UZ|AZ|UMC|CHU|"
    r"CHR|Nemocnice|Sygehus|Sykehus|Sairaala)(?: (?:am|im|an der|des|de|du|la|i|w|Univ\.?|de la|della|"
    r"di)){0,2} ([A-Z][A-Za-z\-]{3,})"
)
_HOME = re.compile(
    r"\b(?:lives?|living|resident|resides?|residing|born|moved|home|house|flew|travell?(?:ed|ing|s)|drove|drives|"
    r"back|holiday|wohnhaft|wohnt|"
    r"habite|vive|tourist|visiting|repatriated)\b (?:alone |abroad |back |over )?(?:in|at|near|to|from|outside|a|en|"
    r"aus)\b (?:the )?(?:town of |village of |city of )?([A-Z][a-z]{2,})"
    r"|\b(?:transferred|referred|transfer|referral|repatriated|came|sent|ambulance|flown|transported|admitted|back|"
    r"returned|repat)\b "
    r"(?:in |over |back |here )?(?:from|to|via|at)\b (?:the )?([A-Z][a-z]{2,})"
    r"|\b(?:town|village|city|county|suburb|parish|district|island) of ([A-Z][a-z]{2,})"
    r"|\b(?:county|landkreis|kreis|provincia(?: di| de)?|gmina|powiat|kommun|hails from|native of|pt from|"
    r"patient from|comes from|"
    r"(?:gp|hausarzt|praxis|arzt|klinik|surgery|practice|clinic|hospice|pflegeheim|altenheim|"
    r"seniorenheim) in) (?-i:(?=[A-Z]))([A-Z][a-z]{2,})",
    re.IGNORECASE,
)


_WARDS = re.compile(
    r"\b(?:ward|wd|bay|bed|cubicle|station|room|rm|zimmer|bett|salle|chambre|lit|reparto|stanza|letto|sala|"
    r"habitacion|"
    r"cama|planta|afdeling|kamer|avdelning|avd\.?|oddzial|sala)[ \-]?(?:no\.? ?|nr\.? ?|n° ?|#)?"
    r"(?:\d{1,3}[A-Z]?|[A-Z]\d{1,3})\b(?! ?(?:ml|cc|mg|g|mm|cm|%|x|h|hrs?|hours?|days?|d|wks?|weeks?|units?|u|mins?|"
    r"min|ln|lns|lymph|nodes?|/|\.\d))",
    re.IGNORECASE,
)
_ANNOUNCED = re.compile(
    r"\b(?:zip|post ?code|postal code|plz|"
    r"postnr)(?: ?code)?\b[.: #]{1,3}(?=(?:[a-z \-]{0,4}\d){2})[a-z0-9][a-z0-9 \-]{2,9}"
    r"|\b(?:c\.?p\.?|cap|psc)\b[.: #]{1,3}(?:\d{5}|\d{3} \d{2}|\d{2}-\d{3})(?!\d)",
    re.IGNORECASE,
)
_LOWER_POSTCODE = re.compile(
    r"[a-z]{1,2}\d[a-z\d]? ?\d(?!st|nd|rd|th|wk|hr|fr|gr|bd|ds|td|dl|pt|yr|ug|ud)[abd-hjlnp-uw-z]{2}", re.IGNORECASE
)


def clues_in_places(text: str) -> Iterator[Clue]:
    """The clues of places in a folded text (case kept)."""
    if _STREETS.search(text) or _BOX.search(text) or _is_german_street(text):
        yield _STREET
    if any(digit in text for digit in "0123456789"):
        if _has_postcode(text):
            yield _POSTCODE
        if _WARDS.search(text):
            yield _WARD
    if _names_a_place(text):
        yield _NAMED


def _is_german_street(text: str) -> bool:
    return any(not is_ordinary(found[1]) for found in _GERMAN_STREET.finditer(text))


def _has_postcode(text: str) -> bool:
    if any(each.search(text) for each in (_POSTCODES, _DUTCH, _ANNOUNCED)) or _LOWER_POSTCODE.fullmatch(text):
        return True
    return any(not is_ordinary(found[1]) for found in _TOWN_AFTER.finditer(text))


def _names_a_place(text: str) -> bool:
    found = (each for pattern in (_INSTITUTION, _INSTITUTION_ALONE, _HOME) for each in pattern.finditer(text))
    return any(word[0].isupper() and _may_be_a_place(word) for each in found for word in each.groups() if word)


def _may_be_a_place(word: str) -> bool:
    known = is_ordinary(word) or word.casefold() in EPONYMS
    return not known and not (word.endswith("ed") and sounds_ordinary(word))
