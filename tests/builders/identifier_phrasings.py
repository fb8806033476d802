"""How identifiers stand in exports, by the eighteen kinds: a heading ("" = among the remarks) and a text.

`FIRST` are the phrasings the rules were written beside; `SECOND` were written apart from them. `THIRD` show the kinds
of phrasing that slipped past when sets of 300 and 100 were tried that no rule was written for.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping

import numpy as np

from builders.invented_identifiers import Invented


def _spaced(number: str, *groups: int) -> str:
    ends = np.cumsum(groups)
    return " ".join(number[end - size : end] for size, end in zip(groups, ends, strict=True))


Phrasings = Mapping[str, tuple[Callable[[Invented], tuple[str, str]], ...]]

FIRST: Phrasings = {
    "name": (
        lambda i: ("Patient name", f"{i.surname()}, {i.given()}"),
        lambda i: ("Nachname", i.surname()),
        lambda i: ("Prénom", i.given()),
        lambda i: ("Pt", f"{i.surname().upper()} {i.given()}"),
        lambda i: ("Colour", f"{i.surname()}, {i.given()}"),
        lambda i: ("", f"stent patent, d/w Dr {i.surname()}, repeat 1 week"),
        lambda i: ("", f"Mrs {i.surname()} wants to go home"),
        lambda i: ("", f"pus ++, seen by {i.surname()} on ward"),
        lambda i: ("", f"2 passes, snare. {i.given()[0]}. {i.surname()} scrubbed"),
        lambda i: ("", f"plan discussed with daughter {i.given()}"),
        lambda i: ("Endoscopist", i.surname()),
        lambda i: ("operator", f"{i.given()} {i.surname()}"),
    ),
    "place": (
        lambda i: ("Address", f"{i.digits(2)} {i.surname()} Road, {i.place()}"),
        lambda i: ("Postcode", "ZZ1 2AB"),
        lambda i: ("", f"transferred from {i.place()} General Hospital, stent patent"),
        lambda i: ("", f"lives in {i.place()}, wants review closer to home"),
        lambda i: ("", f"home to {i.digits(2)} {i.surname()} Street"),
        lambda i: ("Wohnort", i.place()),
    ),
    "date": (
        lambda i: ("DOB", i.birthday()),
        lambda i: ("geb.", i.birthday()),
        lambda i: ("", f"stent out {i.date()}, no bleeding"),
        lambda i: ("", f"DOB {i.birthday()}"),
        lambda i: ("", f"{i.pick('91', '94', '97')} yo, frail, 1 pass only"),
        lambda i: ("", f"for review Monday {i.digits(1)}th, stent patent"),
        lambda i: ("Colour", i.date()),
    ),
    "telephone": (
        lambda i: ("Phone", i.telephone()),
        lambda i: ("Colour", i.telephone()),
        lambda i: ("", f"call wife on {i.telephone()}"),
        lambda i: ("", f"stent patent, tel {i.telephone()}"),
        lambda i: ("", f"bleep {i.digits(4)} with results"),
    ),
    "fax": (lambda i: ("Fax no.", i.telephone()), lambda i: ("", f"fax report to {i.telephone()}")),
    "email": (
        lambda i: ("E-mail", f"{i.surname().lower()}@example.org"),
        lambda i: ("", f"report to {i.given().lower()}.{i.surname().lower()}@example.com"),
    ),
    "national_number": (
        lambda i: ("NHS number", _spaced(i.nhs(), 3, 3, 4)),
        lambda i: ("Colour", i.nhs()),
        lambda i: ("", f"pus ++ {_spaced(i.nhs(), 3, 3, 4)} 2 passes"),
        lambda i: ("", f"snare, 900-{i.digits(2)}-{i.digits(4)}"),
        lambda i: ("", f"{i.pick('120356', '010171', '300988')}-{i.digits(4)} stent patent"),
        lambda i: ("", f"DNI {i.dni()}"),
    ),
    "record_number": (
        lambda i: ("MRN", i.digits(7)),
        lambda i: ("Hosp. No", f"K{i.digits(6)}"),
        lambda i: ("", f"MRN {i.digits(7)}, snare x2"),
        lambda i: ("", f"hospital no: {i.digits(6)}"),
        lambda i: ("Colour", i.digits(8)),
    ),
    "health_plan": (lambda i: ("Insurance no", i.digits(9)), lambda i: ("", f"member id {i.digits(9)}, 3 passes")),
    "account": (
        lambda i: ("Account number", i.digits(8)),
        lambda i: ("", f"invoice no {i.digits(6)}"),
        lambda i: ("Colour", i.iban()),
        lambda i: ("", f"paid with {_spaced(i.luhn('4', 16), 4, 4, 4, 4)}"),
    ),
    "licence": (lambda i: ("GMC number", i.digits(7)), lambda i: ("", f"GMC {i.digits(7)} signed")),
    "vehicle": (lambda i: ("Number plate", "ZZ99 ZZZ"), lambda i: ("", "came by car, number plate ZZ99 ZZZ")),
    "device": (
        lambda i: ("Stent serial no.", f"SN{i.digits(6)}"),
        lambda i: ("LOT", i.digits(6)),
        lambda i: ("", f"15 mm stent, SN {i.digits(5)}"),
        lambda i: ("", f"lot {i.digits(7)} placed"),
        lambda i: ("Colour", f"(01)0{i.digits(13)}(17)270131(10)A{i.digits(4)}"),
    ),
    "url": (
        lambda i: ("Link", "https://pacs.example.org/x"),
        lambda i: ("", f"video at www.example.com/{i.digits(4)}"),
    ),
    "ip_address": (
        lambda i: ("IP address", f"192.0.2.{i.rng.integers(255)}"),
        lambda i: ("Colour", f"198.51.100.{i.rng.integers(255)}"),
    ),
    "biometric": (lambda i: ("Fingerprint", i.digits(5)), lambda i: ("", "consent by fingerprint, stent patent")),
    "photograph": (
        lambda i: ("Patient photo", f"IMG_{i.digits(4)}.jpg"),
        lambda i: ("", "photo of patient taken in recovery"),
    ),
    "other_code": (
        lambda i: ("UUID", str(uuid.UUID(bytes=i.rng.bytes(16)))),
        lambda i: ("", f"ref {uuid.UUID(bytes=i.rng.bytes(16))}"),
        lambda i: ("Colour", i.rng.bytes(16).hex()),
        lambda i: ("", f"study 1.2.840.{i.digits(5)}.{i.digits(4)}.{i.digits(6)}.{i.digits(3)}"),
    ),
}

SECOND: Phrasings = {
    "name": (
        lambda i: ("Apellidos y nombre", f"{i.surname()} {i.surname()}, {i.given()}"),
        lambda i: ("pat_surname", i.surname()),
        lambda i: ("Consultant in charge", f"{i.surname()} {i.given()[0]}"),
        lambda i: ("Indication", f"{i.given()} {i.surname()}"),
        lambda i: ("", f"Herr {i.surname()} wünscht Verlegung"),
        lambda i: ("", f"good clearance today - {i.surname()} to review CT before next DEN"),
        lambda i: ("", f"Necrosis tough, {i.given()} held the snare, stopped for time"),
        lambda i: ("", f"his wife {i.given()} will bring the scans"),
        lambda i: ("", f"WON, infected; Prof. {i.surname()} agrees with DEN"),
        lambda i: ("", f"debrided with net ({i.surname()}/{i.surname()})"),
        lambda i: ("", f"{i.surname()} {i.given()[0]}{i.given()[0]} assisted, no bleed"),
        lambda i: ("", f"asked {i.surname().lower()} to repeat ct"),
    ),
    "place": (
        lambda i: ("Home addr.", f"Flat {i.digits(1)}, {i.digits(2)} {i.surname()} Crescent"),
        lambda i: ("PLZ / Ort", f"{i.digits(5)} {i.place()}"),
        lambda i: ("", f"repatriated from {i.place()} with drain in situ"),
        lambda i: ("", f"local follow-up at the {i.place()} Infirmary"),
        lambda i: ("", f"Adresse: {i.surname()}strasse {i.digits(2)}"),
        lambda i: ("", f"works on a farm near {i.place()}"),
    ),
    "date": (
        lambda i: ("Fecha de nacimiento", i.birthday()),
        lambda i: ("Pt date of birth", i.birthday()),
        lambda i: ("", f"next session booked {i.date()}"),
        lambda i: ("", f"born {i.birthday()}, alcohol"),
        lambda i: ("", f"a {i.pick('92', '95', '99')}-year-old with infected necrosis"),
        lambda i: ("", f"fever since the {i.pick('3rd', '12th', '21st')} of {i.pick('March', 'June', 'October')}"),
        lambda i: ("Texture", i.date()),
    ),
    "telephone": (
        lambda i: ("Contact tel (home)", i.telephone()),
        lambda i: ("Anaesthesia", i.telephone()),
        lambda i: ("", f"results please to mobile {i.telephone().replace(' ', '')}"),
        lambda i: ("", f"pt reachable under {i.telephone()} after 5 pm"),
        lambda i: ("", f"ext. {i.digits(4)} for queries"),
    ),
    "fax": (lambda i: ("GP fax", i.telephone()), lambda i: ("", f"sent by Fax ({i.telephone()})")),
    "email": (
        lambda i: ("contact e-mail address", f"{i.given().lower()}{i.digits(2)}@mail.example.net"),
        lambda i: ("", f"images sent to {i.surname().lower()} [at] example [dot] org"),
    ),
    "national_number": (
        lambda i: ("NHS No (if known)", i.nhs()),
        lambda i: ("Indication", _spaced(i.nhs(), 3, 3, 4)),
        lambda i: ("", f"NHS no. {i.nhs()}; net + basket"),
        lambda i: ("", f"social security 900 {i.digits(2)} {i.digits(4)}"),
        lambda i: ("", f"CPR {i.pick('120356', '010171', '300988')}{i.digits(4)}"),
        lambda i: ("Codice Fiscale", f"ZZZZZZ{i.digits(2)}A01Z{i.digits(3)}Z"),
    ),
    "record_number": (
        lambda i: ("Unit record number", i.digits(6)),
        lambda i: ("Patienten-Nr.", i.digits(8)),
        lambda i: ("", f"see notes of case number {i.digits(7)}"),
        lambda i: ("", f"accession {i.digits(8)} shows gas"),
        lambda i: ("Indication", f"{i.digits(9)}"),
    ),
    "health_plan": (
        lambda i: ("Krankenkasse Nr", f"A{i.digits(9)}"),
        lambda i: ("", f"insurance policy no. AB{i.digits(7)} covers stent"),
    ),
    "account": (
        lambda i: ("Billing account", i.digits(9)),
        lambda i: ("", f"acct# {i.digits(7)}"),
        lambda i: ("Indication", _spaced(i.iban(), 4, 4, 4, 4, 4, 2)),
        lambda i: ("", f"private patient, card {i.luhn('5', 16)}"),
    ),
    "licence": (lambda i: ("Driver licence", i.digits(8)), lambda i: ("", f"passport no {i.digits(9)}, visitor")),
    "vehicle": (lambda i: ("Kennzeichen", f"ZZ-Z {i.digits(4)}"), lambda i: ("", f"VIN 1ZZZZ00A0AA{i.digits(6)}")),
    "device": (
        lambda i: ("Scope S/N", i.digits(7)),
        lambda i: ("Stent batch no", f"B{i.digits(5)}"),
        lambda i: ("", f"electrocautery stent (REF {i.digits(6)})"),
        lambda i: ("", f"serial number {i.digits(8)} malfunctioned"),
        lambda i: ("Instrument", f"{{net}} 010{i.digits(13)}17270131"),
    ),
    "url": (lambda i: ("Video URL", "http://example.net/v/1"), lambda i: ("", "recording: example.org/den/clip")),
    "ip_address": (
        lambda i: ("Workstation", f"203.0.113.{i.rng.integers(255)}"),
        lambda i: ("", f"uploaded from 2001:db8:0:1:2:3:4:{i.digits(2)}"),
    ),
    "biometric": (lambda i: ("Voice print", "yes"), lambda i: ("", "identified by iris scan in theatre")),
    "photograph": (
        lambda i: ("Foto Patient", f"{i.surname()}.png"),
        lambda i: ("", f"facial photo saved as {i.surname().lower()}.jpeg"),
    ),
    "other_code": (
        lambda i: ("Study Instance UID", f"1.2.826.0.1.{i.digits(7)}.{i.digits(3)}"),
        lambda i: ("", f"hash {i.rng.bytes(20).hex()}"),
        lambda i: ("Indication", str(uuid.UUID(bytes=i.rng.bytes(16))).upper()),
        lambda i: ("", f"token Zq9{i.digits(6)}Kd{i.digits(6)}xYz{i.digits(4)}"),
    ),
}


THIRD: Phrasings = {
    "name": (
        lambda i: ("", f"{i.surname()} family updated, stent patent"),
        lambda i: ("", f"{i.surname()} rang, wants to come in"),
        lambda i: ("", f"{i.surname().lower()} wants home"),
        lambda i: ("", f"mrs {i.surname().lower()} tearful"),
        lambda i: ("", f"mr {i.surname().lower()}kin"),
        lambda i: ("", f"2 passes, Fr. {i.surname()} nüchtern"),
        lambda i: ("", f"seen by {i.pick('siobhan', 'gwendolyn', 'friedhelm')} {i.surname().lower()}"),
        lambda i: ("", f"{i.surname().lower()}, {i.pick('chukwuemeka', 'dimitrios', 'wojciech')}"),
        lambda i: ("", f"{i.pick('sharma', 'nguyen', 'yilmaz', 'kowalski')} asleep"),
        lambda i: ("", f"bloods by {i.pick('stefanakis', 'mavropoulos', 'karadoglu', 'lisiewicz')}"),
        lambda i: ("", f"done by {i.pick('HKO', 'JBX', 'KLZ')}, snare"),
        lambda i: ("", f"initials {i.pick('HKO', 'JBX', 'KLZ')}"),
        lambda i: ("", i.pick("王小明", "田中花子様", "김민수 환자", "محمد العلي")),
        lambda i: ("", i.pick("राजेश शर्मा", "דוד לוי", "สมชาย ใจดี")),
        lambda i: ("", f"{i.surname()}, please check"),
        lambda i: ("DEN1 tools", f"snare ({i.pick('Gianluca', 'Zofia', 'Rhys', 'Ayşe')})"),
    ),
    "place": (
        lambda i: ("", f"moved to Ward {i.digits(2)}"),
        lambda i: ("", f"Bed {i.digits(1)}, bay C"),
        lambda i: ("", f"zip {i.digits(5)}"),
        lambda i: ("", f"accepted from {i.place().capitalize()} General"),
        lambda i: ("", f"{i.place().capitalize()} ICU kept him"),
        lambda i: ("", f"wohnt Am {i.surname()} {i.digits(2)}"),
        lambda i: ("", f"{i.surname()} utca {i.digits(2)}"),
        lambda i: ("", f"hails from {i.place().capitalize()}"),
        lambda i: ("", f"care home: {i.surname()} House"),
    ),
    "date": (
        lambda i: ("", "on the fourteenth of March"),
        lambda i: ("", "zweiter Mai, Fieber"),
        lambda i: ("", f"{i.pick('12 czerwca', '5. května', '12 Temmuz', '7. kesäkuuta', '4 martie')} drain out"),
        lambda i: ("", f"bled on {i.pick('Boxing Day', 'Easter Monday', 'Good Friday', 'Heiligabend')}"),
        lambda i: ("", f"06{i.pick('Jun', 'Oct')}2023 stent"),
        lambda i: ("", "12·03·2024"),
        lambda i: ("", "12-III-2024"),
        lambda i: ("", "令和5年3月4日"),
        lambda i: ("", "seen 12/03, patent"),
        lambda i: ("", "died 11/9"),
        lambda i: ("", f"year of birth 19{i.pick('38', '49')}"),
        lambda i: ("", f"{i.pick('95M', '92F', '97 yrs', 'm/91', '♀ 96', '93jährig', 'turned 90')}, frail"),
        lambda i: ("", "ninety-one years old"),
    ),
    "telephone": (
        lambda i: ("", f"DECT {i.digits(5)}"),
        lambda i: ("", f"call son {i.telephone()}"),
        lambda i: ("", f"call me on {i.digits(4)}"),
        lambda i: ("", "oh seven seven double-oh 900143"),
    ),
    "fax": (lambda i: ("", f"faxed to {i.telephone()}"),),
    "email": (
        lambda i: ("", f"{i.surname().lower()}.q AT hospital DOT example"),
        lambda i: ("", f"{i.given().lower()}<at>mail.example"),
        lambda i: ("", f"send to j{i.surname().lower()}@{i.place().lower()}"),
    ),
    "national_number": (
        lambda i: ("", f"nat. ins. ZZ {i.digits(2)} {i.digits(2)} {i.digits(2)} C"),
        lambda i: ("", f"SVNR {i.digits(4)} 010150"),
        lambda i: ("", "1EG4-TE5-MK72"),
    ),
    "record_number": (
        lambda i: ("", f"{i.pick('URN', 'Aufnahme-Nr.', 'nosografico', 'cartella n.')} {i.digits(4)}/{i.digits(3)}"),
        lambda i: ("DEN1 tools", f"snare {i.pick('R', 'WX-')}{i.digits(5)}7"),
        lambda i: ("", f"old notes 44-{i.digits(2)}-12"),
    ),
    "health_plan": (
        lambda i: ("", f"mutuelle n° {i.digits(4)} 998"),
        lambda i: ("", f"memb {i.digits(2)} {i.digits(2)} 3341"),
    ),
    "account": (
        lambda i: ("", f"Rechn.-Nr. 2024/{i.digits(4)}"),
        lambda i: ("", f"card 4111 1111 1111 {i.digits(4)}"),
    ),
    "licence": (
        lambda i: ("", f"{i.pick('NMC', 'passport', 'Reisepass')} {i.digits(2)}I{i.digits(4)}E"),
        lambda i: ("", f"HCPC PA{i.digits(5)}"),
    ),
    "vehicle": (
        lambda i: ("", f"Kfz M-XY {i.digits(4)}"),
        lambda i: ("", f"plaque ZZ-{i.digits(3)}-ZZ"),
    ),
    "device": (lambda i: ("", f"Chargen-Nr. {i.digits(2)}A12"),),
    "url": (lambda i: ("", f"C:\\Users\\{i.surname().lower()}"),),
    "ip_address": (lambda i: ("", f"192.168.001.{i.digits(2)} pc"),),
    "biometric": (lambda i: ("", f"{i.pick('retina template', 'palm vein scan', 'thumbprint', 'DNA sample')} stored"),),
    "photograph": (lambda i: ("", f"IMG_{i.digits(4)}.HEIC"),),
    "other_code": (
        lambda i: ("", f"{i.pick('wristband', 'specimen', 'biobank', 'trial no.')} {i.digits(2)}H{i.digits(5)}"),
        lambda i: ("", "accession 1.2.840.99999.441"),
        lambda i: ("", "9f8a7c6b5d4e"),
        lambda i: ("", "pw: Quokka77!"),
    ),
}
