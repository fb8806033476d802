"""Addresses of computers and people, codes of devices, and words that announce a number.

Places smaller than a state: streets, postcodes of several countries, hospitals and homes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.privacy.vocabulary import EPONYMS, is_ordinary, sounds_ordinary

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
