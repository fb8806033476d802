"""Headings that ask for an identifier, in several languages; a heading is compared word by word."""

from __future__ import annotations

import re
from functools import lru_cache

from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.text import heading_versions

_NUMBER = "(?:no|nr|num|number|numbers|numero|nummer|id|ids|code|n|identifier)"

_ALWAYS = {
    "name": r"""(?:full |first |last |middle |given |family |maiden |second |pt |pat |patients? |christian |fore|sur|
        nick)?names?|surnames?|
        forenames?|name (?:of )?patient|names? of patient|initials?|pat(?:ient)? initials|nachname|vorname|
        familienname|geburtsname|name vorname|patientenname|
        nom|nom (?:de )?famille|nom (?:du )?patient|prenom|prenoms|nom prenom|apellidos?|nombres?|nombre y apellidos|
        cognome|nome|nome e cognome|sobrenome|
        apelido|naam|achternaam|voornaam|efternamn|fornamn|navn|etternavn|fornavn|efternavn|nazwisko|imie|prijmeni|
        jmeno|sukunimi|etunimi|soyad|
        soyadi|ad soyad|фамилия|имя|фио|姓名|患者姓名|氏名|next of kin|nok|kin|
        relatives?|contact (?:person|name|details)|
        carer|mothers? name|fathers? name|
        gp|gp name|general practitioner|family doctor|hausarzt|medecin traitant|referr(?:er|ing (?:doctor|physician|
        consultant|gp|clinician))|referred by|
        title|patient details|demographics|patientendaten|(?:\w+ )?(?:surname|lastname|firstname|fullname|patname|
        ptname)""",
    "place": r"""(?:home |postal |street |pt |patient |mailing |e ?)?address(?: (?:line )?\d)?|addr|adresse|anschrift|
        direccion|indirizzo|adres|adress|endereco|domicilio|
        street|strasse|str|rue|calle|straat|house (?:no|number)|hausnummer|city|town|village|stadt|wohnort|ville|
        commune|ciudad|localidad|citta|comune|woonplaats|
        municipality|county|borough|parish|suburb|postcodes?|post ?codes?|postal ?codes?|zip|zip ?codes?|plz|
        postleitzahl|code postal|codigo postal|postnummer|
        place of (?:birth|residence)|birthplace|geburtsort|residence|lsoa|census tract|geocode|latitude|longitude|lat|
        lon|lng|gps|coordinates|
        hospital|hospital name|referring (?:hospital|centre|center|unit)|name of hospital|krankenhaus|zuweiser|
        hopital|地址|住所|адрес""",
    "date": r"""d ?o ?b|dobs?|(?:date|day|month|year) (?:of )?birth|birth ?(?:date|day|year)?|pt dob|patient dob|born|
        geb|geb datum|gebdat|geburtsdatum|geburtstag|geboren|ne|nee|
        ne e|ne le|nee le|date (?:de )?naissance|ddn|naissance|fecha (?:de )?nacimiento|nacimiento|nacid[oa]|
        data (?:di )?nascita|nato|nata|nato il|data (?:de )?nascimento|
        geboortedatum|fodt|fodd|fodselsdato|fodelsedatum|data urodzenia|dogum tarihi|出生日期|生年月日|дата рождения""",
    "telephone": r"""(?:home |work |mobile |cell |contact |patient |gp )?(?:tele)?phone(?: ?NUMBER)?|tel|tel NUMBER|
        mobile|mobile NUMBER|mob|cell(?:ular)? NUMBER|handy|telefon|
        telefonnummer|rufnummer|telefono|telephone(?: \w+)?|portable|movil|telefoon|puhelin|bleep|bleep NUMBER|pager|
        contact NUMBER|whatsapp|电话|телефон""",
    "fax": r"(?:tele)?fax(?: ?NUMBER)?",
    "email": r"(?:\w+ )?e ?mails?(?: address)?|mail|correo|correo electronico|courriel|epost",
    "national_number": r"""ssn|social security(?: ?NUMBER)?|nhs|nhs ?NUMBER|nhsno|chi|chi NUMBER|h ?and ?c NUMBER|
        nat(?:ional)? (?:insurance )?(?:id|NUMBER)|nino|ni NUMBER|
        personnummer|personnr|pnr|cpr|cprnr|cpr NUMBER|fodselsnummer|fnr|henkilotunnus|hetu|kennitala|bsn|
        burgerservicenummer|ahv|ahv NUMBER|ahvnr|avs|svnr|
        sv NUMBER|sozialversicherungsnummer|rentenversicherungsnummer|steuer id|nir|insee|
        numero (?:de )?securite sociale|nss|codice fiscale|cf|dni|nie|nif|cedula|rut|
        curp|cpf|pesel|cnp|rodne cislo|oib|jmbg|egn|tc kimlik(?: no)?|aadhaar|nric|hkid|tax (?:id|NUMBER)|ihi|nhi|
        nhi NUMBER|ppsn|ppsn? NUMBER|身份证|身份证号""",
    "record_number": r"""mrn|mrns|pt mrn|patient mrn|mrn NUMBER|(?:local |medical )?records? NUMBER|
        medical record(?: NUMBER)?|emr|emr NUMBER|ehr|ehr NUMBER|
        hosp(?:ital)? NUMBER|hospno|unit NUMBER|chart|chart NUMBER|hn|uhid|pas NUMBER|fallnummer|fallnr|fall NUMBER|
        patientennummer|pat ?nr|patientennr|patienten id|aktenzeichen|
        aufnahmenummer|ipp|nip|nda|numero (?:de )?dossier|dossier(?: NUMBER)?|historia(?: clinica)?|nhc|
        cartella(?: clinica)?|accession|accession NUMBER|acc NUMBER|encounter|
        encounter NUMBER|admission NUMBER|spell NUMBER|lab NUMBER|specimen NUMBER|sample NUMBER|histology NUMBER|
        pathology NUMBER|request NUMBER|order NUMBER|exam NUMBER|
        journalnummer|journal NUMBER|病历号|住院号|号码|pid|
        (?:facility|local|hospital) (?:patient )?(?:id|identifier)""",
    "health_plan": r"""insurance|insurance NUMBER|insurer|policy|policy NUMBER|member NUMBER|membership NUMBER|
        subscriber NUMBER|beneficiary(?: NUMBER)?|health plan(?: NUMBER)?|
        medicare|medicare NUMBER|medicaid|medicaid NUMBER|payer|(?:kranken)?kasse(?: NUMBER)?|versicherung|
        versicherungsnummer|versichertennummer|kvnr|kv NUMBER|egk|mutuelle|tessera sanitaria""",
    "account": r"(?:\w+ )?account NUMBER|accounts?|acct|acct NUMBER|billing|billing NUMBER|invoice|invoice NUMBER|"
    r"iban|bic|konto|kontonummer|bank|bank \w+|sort code|cuenta|"
    r"rechnungsnummer|credit card|card NUMBER|fin|fin NUMBER",
    "licence": r"(?:driving |driver |drivers |medical )?licen[cs]e|(?:\w+ )?licen[cs]e NUMBER|"
    r"certificate(?: NUMBER)?|gmc|gmc NUMBER|npi|npi NUMBER|nmc(?: NUMBER)?|lanr|rpps|dea|"
    r"dea NUMBER|registration(?: NUMBER)?|passport(?: NUMBER)?|reisepass|ausweis|ausweisnummer|"
    r"prescriber NUMBER|provider NUMBER",
    "vehicle": r"vehicle(?: \w+)?|vin|number ?plate|(?:licen[cs]e |number )plate(?: NUMBER)?|car (?:reg|"
    r"registration|NUMBER)|reg NUMBER|kennzeichen|matricula|immatriculation|targa",
    "device": r"(?:\w+ ){0,3}(?:serial|serials|lot|batch|udi|gtin|barcode|bar code|sn)(?: ?NUMBER)?|serialno|lotno|"
    r"(?:\w+ )?(?:seriennummer|serien NUMBER|charge|chargen|"
    r"chargennummer|chargen NUMBER)|s n|(?:\w+ )?(?:ref|reference|catalogue|catalog|cat) NUMBER|ref|refs|"
    r"(?:device|scope|implant|endoscope|equipment|asset) NUMBER|"
    r"(?:numero de |n de )(?:serie|lot|lote)|numero (?:serie|lot)|brand|manufacturer|make and model|hersteller|"
    r"(?:device|stent) model|model NUMBER",
    "url": r"urls?|(?:web|image|report|pacs|video) ?(?:link|url|page|site|address)|website|link|links|hyperlink|"
    r"homepage|file ?path",
    "ip_address": r"ip|ip address|ipaddress|mac address|host ?name|computer(?: name)?|workstation|terminal",
    "biometric": r"finger ?prints?|biometrics?|voice ?(?:print|recording)|retina(?:l)?(?: scan)?|iris(?: scan)?|"
    r"palm ?print|genome|dna profile",
    "photograph": r"(?:patient |face |facial |full face )?photo(?:s|graphs?)?(?: file)?|portrait|(?:patient |"
    r"face )picture|face|passfoto|passbild|foto|bild",
    "other_code": r"uuid|guid|hash|token|(?:\w+ )?(?:user ?name|login|user ?id)|(?:study|series|"
    r"sop)(?: instance)? uid|uid|dicom uid|entered by|typed by|created by|modified by|"
    r"trial (?:subject )?NUMBER|research NUMBER|donor NUMBER|transplant NUMBER|pacs NUMBER",
}
_UNLESS_CODES = (
    r"patients?|subject|person|pt|pat|client|(?:patient|pt|pat|case|person|client) NUMBER|case|cases|record|"
    r"individual|pazienti?|paciente"
)
_THINGS = re.compile(
    r"\b(?:instrument|tool|device|drug|stent|procedure|event|variable|test|organism|antibiotic|file|sheet|table|"
    r"column|class|operation|study|site|"
    r"complication|intervention|type|generic|scale|field|group|unit)s? name\b|\bproject name\b"
)


def _compiled(phrases: str) -> re.Pattern[str]:
    return re.compile("(?:" + re.sub(r"\n\s+", "", phrases).replace("NUMBER", _NUMBER) + r")\Z")


_PATTERNS = {kind: _compiled(phrases) for kind, phrases in _ALWAYS.items()}
_CODES = _compiled(_UNLESS_CODES)
_TRAILING = re.compile(
    r" (?:\d{1,2}|if known|optional|required|mandatory|text|txt|of patient|of pt|patient|pt|yyyy|"
    r"dd mm yyyy|ddmmyyyy|mm dd yyyy|ddmmyy)\Z"
)
_LEADING = re.compile(r"\A(?:the|pt s|pts|patient s|patients?|pt|pat|demog|demo|d|fld|txt|str|f|her|his) ")


@lru_cache(maxsize=10_000)
def heading_clue(heading: str) -> Clue | None:
    """The clue in a heading that always asks for an identifier, if it does."""
    for folded in heading_versions(heading):
        if _THINGS.search(folded):
            continue
        for variant in _variants(folded):
            for kind, pattern in _PATTERNS.items():
                if pattern.match(variant):
                    return Clue(kind=kind, rule="the heading asks for it")
    return None


def forget_headings() -> None:
    """Drop the headings kept to save time."""
    heading_clue.cache_clear()
    heading_versions.cache_clear()


def asks_for_a_person(heading: str) -> bool:
    """Whether a heading ("patient", "case number") is fit for study codes and for nothing else."""
    return any(_CODES.match(variant) for folded in heading_versions(heading) for variant in _variants(folded))


_OF_PATIENTS = re.compile(
    r"(?:patient(?:en|s)?|pat|fall|case|record|paciente|paziente|pazienti)[ .-]*"
    r"(?:id|nr|nummer|no|number|num|numero|code|codice|codigo)?[ .]*\Z"
)


def may_head_study_codes(heading: str) -> bool:
    """Whether a heading that can ask for a record number ("Pat.-Nr.", "record_id") heads study codes as often."""
    return any(_OF_PATIENTS.match(folded) for folded in heading_versions(heading))


def _variants(folded: str) -> tuple[str, ...]:
    bare = _TRAILING.sub("", folded)
    return tuple(dict.fromkeys((folded, bare, _LEADING.sub("", folded), _LEADING.sub("", bare))))


_ID = re.compile(r"(?:\w+ )*(?:ids?|identifier|code|no|nr|number|nummer|key|study|patient|case|subject|pseudonym)\Z")
_OPERATOR = re.compile(
    r"(?:\w+ ){0,2}(?:operators?|endoscopists?|surgeons?|consultants?|anaesthetists?|anesthetists?|nurses?|"
    r"assistants?|staff|trainees?|fellows?|"
    r"performed by|done by|seen by|reviewed by|reported by|physicians?|doctors?|clinicians?|untersucher|arzt|"
    r"operateurs?|medecin|operador|operatore)(?: \d)?\Z"
)
_DATED = re.compile(r"(?:\w+ )*(?:dates?|datum|fecha|data|dato)(?: \w+)*\Z")


def is_id_heading(heading: str) -> bool:
    """Whether a heading names a code for each row's subject."""
    return bool(_ID.match(heading_versions(heading)[0]))


def is_operator_heading(heading: str) -> bool:
    """Whether a heading asks who did it: pseudonyms only."""
    return bool(_OPERATOR.match(heading_versions(heading)[0]))


def is_date_heading(heading: str) -> bool:
    """Whether a heading asks for a date."""
    return bool(_DATED.match(heading_versions(heading)[0]))
