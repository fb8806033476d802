"""Generic words that units write for the codebook's codes, where a layout's own win; and the names of programs."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from necrostats.registry.codebook import TABLES
from necrostats.registry.text import LANGUAGES, codes_in, common_codes, folded, listed

YES, NO = frozenset(("yes", "y", "true", "1", "1.0")), frozenset(("no", "n", "false", "0", "0.0"))

_PLAIN: Mapping[str, Mapping[str, str]] = {
    "sex": {"female": "f,woman", "male": "m,man"},
    "aetiology": {
        "gallstone": "gallstones,biliary,stones",
        "alcohol": "alcoholic,etoh",
        "hypertriglyceridaemia": "hypertriglyceridemia,hypertriglyceridaemic,high triglycerides",
        "post_procedural": "post procedural,post-procedural,post ercp,post-ercp",
        "drug": "drugs,medication",
        "idiopathic": "unclear cause,cause not found",
    },
    "atlanta_severity": {
        "mild": "map,mild acute pancreatitis",
        "moderately_severe": "moderately severe,moderately-severe,moderate,mod severe,msap",
        "severe": "sap,severe acute pancreatitis",
    },
    "nutrition": {
        "oral": "po,diet,oral diet",
        "enteral": "ng,nj,nasogastric,nasojejunal,tube,tube feeding,ng tube,nj tube,peg,pej",
        "parenteral": "tpn,pn,iv nutrition",
    },
    "end_reason": {
        "planned": "as planned,elective,removed as planned,per protocol",
        "migrated": "fell out,dislodged,migration",
        "occluded": "blocked,occlusion,clogged",
        "exchanged": "exchange,swapped,replaced",
        "bleeding": "bleed,bled",
        "buried": "overgrown,buried stent",
        "in_place": "in situ,in place,still in,still in situ,still in place",
        "death": "died,dead",
    },
    "treatment": {
        "none": "nil,observed,observation,conservative,watched",
        "drug": "drugs,antibiotics,abx,medical,medication",
        "transfusion": "transfused,blood,prbc",
        "endoscopic": "endoscopy,clips,clip,endoscopically,endoscopic haemostasis",
        "radiological": "ir,embolisation,embolization,coils,coiling,angiography,percutaneous drain",
        "surgical": "surgery,theatre,laparotomy,operation",
        "organ_support": "ventilation,ventilated,vasopressors,dialysis",
    },
    "agree_grade": {"I": "1", "II": "2", "IIIa": "3a", "IIIb": "3b", "IVa": "4a", "IVb": "4b", "V": "5"},
    "clavien_grade": {"I": "1", "II": "2", "IIIa": "3a", "IIIb": "3b", "IVa": "4a", "IVb": "4b", "V": "5"},
    "session_type": {
        "necrosectomy": "den,direct endoscopic necrosectomy,endoscopic necrosectomy",
        "drainage": "index drainage",
        "drainage_and_necrosectomy": "drainage + necrosectomy,drainage and necrosectomy",
        "stent_exchange": "stent exchange",
        "stent_removal": "stent removal",
        "event_treatment": "event treatment",
    },
    "modality": {
        "ct": "ct scan,cect",
        "mri": "mr,mri scan",
        "eus": "endoscopic ultrasound",
        "us": "ultrasound,transabdominal ultrasound",
    },
    "vital_status": {"alive": "living", "dead": "died,deceased"},
    "anaesthesia": {
        "general": "ga,general anaesthesia,general anesthesia",
        "sedation": "conscious sedation,sedated",
        "monitored": "monitored care,mac",
    },
    "stent_type": {
        "lumen_apposing": "lams,lumen apposing,lumen-apposing,lumen apposing metal stent",
        "double_pigtail": "double pigtail,dpt,dps,double-pigtail",
        "self_expanding_metal": "sems,self expanding metal,self-expanding metal",
        "nasocystic": "nasocystic drain,nasocystic catheter",
        "percutaneous": "percutaneous drain,pcd",
    },
    "kind": {
        "percutaneous_drain": "percutaneous drain,pcd,percutaneous drainage",
        "embolisation": "embolization,coiling",
        "surgical_necrosectomy": "surgical necrosectomy,open necrosectomy",
        "minimally_invasive_necrosectomy": "minimally invasive necrosectomy,vard",
    },
    "organ_failure": {"none": "no,no of", "transient": "tof", "persistent": "pof"},
    "infection": {"confirmed": "proven,culture positive", "suspected": "susp", "none": "no,sterile"},
    "prior_intervention": {"none": "no"},
    "antithrombotic": {
        "none": "no,nil",
        "antiplatelet": "aspirin,clopidogrel,antiplatelets,dapt",
        "anticoagulant": "anticoagulants,anticoagulation,doac,noac,warfarin,heparin,lmwh",
    },
    "duct": {"intact": "normal", "disconnected": "dpds,disrupted"},
    "site": {
        "lesser_sac": "lesser sac,ls",
        "left_paracolic": "left paracolic,l paracolic,lt paracolic,left paracolic gutter,l paracolic gutter",
        "right_paracolic": "right paracolic,r paracolic,rt paracolic,right paracolic gutter,r paracolic gutter",
        "pelvic": "pelvis",
        "mesenteric": "mesentery,root of mesentery,mesenteric root",
    },
}
_ANSWERS = {
    "symptom_free": {
        "yes": "asymptomatic,symptom free,no symptoms,none,nil,well",
        "no": "symptomatic,unwell,pain,fever,vomiting,nausea,septic",
    },
}
_INSTRUMENTS = {
    "snare": "snares,polypectomy snare",
    "net": "nets,retrieval net",
    "basket": "baskets,retrieval basket",
    "forceps": "grasping forceps,rat tooth forceps,rat-tooth forceps,grasper,graspers,tripod,tripod forceps",
    "cap_suction": "cap suction,suction cap,cap + suction",
    "powered_debrider": "powered debrider,debrider",
    "rotating_brush": "rotating brush",
    "water_jet": "water jet,waterjet,hydro jet",
    "balloon_sweep": "balloon sweep,balloon,extraction balloon",
    "lavage": "irrigation,saline lavage,saline,washout,flush",
    "peroxide": "h2o2,h202,hydrogen peroxide",
    "unknown": "?,unknown,not recorded,unk",
}
_EVENTS = {
    "bleeding": "bled,bleed,haemorrhage,hemorrhage,bleeding",
    "pseudoaneurysm": "pseudoaneurysm",
    "perforation": "perf,perforation,perforated,microperf,microperforation",
    "pneumoperitoneum": "pneumoperitoneum",
    "gas_embolism": "gas embolism,air embolism",
    "infection": "infection,infected",
    "sepsis": "sepsis,septic,septic shock",
    "stent_migration": "stent migration,stent migrated,migration,migrated",
    "stent_occlusion": "stent occlusion,stent occluded,occluded stent,stent blocked,blocked stent,stent obstruction,"
    "stent obstructed,obstructed stent",
    "stent_buried": "buried stent,stent buried",
    "maldeployment": "maldeployment,stent maldeployment,maldeployed",
    "aspiration": "aspiration,aspirated",
    "cardiorespiratory": "desaturation,desaturated,desat,cardiac arrest,arrhythmia,cardiorespiratory",
    "fistula": "fistula",
    "obstruction": "obstruction,obstructed",
    "sedation": "sedation event,sedation problem,oversedation",
}
NO_EVENT = frozenset(
    (
        "nil",
        "none",
        "no",
        "nothing",
        "uneventful",
        "no event",
        "no events",
        "no ae",
        "no aes",
        "no adverse event",
        "no adverse events",
        "no complication",
        "no complications",
        "nil of note",
        "without complication",
        "without complications",
        "0",
        "no issues",
        "no problems",
        *(folded(word).strip(" .") for word in listed("no_event")),
    )
)


def _spread(words: Mapping[str, str]) -> dict[str, str]:
    return {folded(word): code for code, listed in words.items() for word in listed.split(",") if word}


@lru_cache(maxsize=1)
def _tables() -> dict[str, dict[str, str]]:
    plain = {name: _spread(words) for name, words in {**_PLAIN, **_ANSWERS}.items()}
    return {**plain, "instrument_class": _spread(_INSTRUMENTS), "event_type": _spread(_EVENTS)}


def built_in(column: str) -> Mapping[str, str]:
    """The generic words for a column's codes: folded word → code."""
    return _tables().get(column, {})


def codes_of_columns() -> tuple[str, ...]:
    """The columns for whose codes or answers a language has words, "yes_no" and "yield_words" among them."""
    coded = (column.name for table in TABLES.values() for column in table.columns if column.kind == "code")
    return tuple(dict.fromkeys([*coded, *_ANSWERS, "yes_no"]))


def all_words() -> frozenset[str]:
    """Every generic word for a code of any column, and every way to say that nothing happened."""
    ours = (word for words in _tables().values() for word in words)
    theirs = (word for language in LANGUAGES for column in codes_of_columns() for word in codes_in(language, column))
    return frozenset((*ours, *theirs)) | NO_EVENT


def known_words(column: str, codes: tuple[str, ...], own: Mapping[str, str]) -> dict[str, str]:
    """Every word that stands for a code: the codes themselves, with and without underscores, and all synonyms."""
    themselves = {form: code for code in codes for form in (folded(code), folded(code.replace("_", " ")))}
    answered = codes == ("yes", "no")
    elsewhere = {**(common_codes("yes_no") if answered else {}), **common_codes(column)}
    themselves = {**{word: code for word, code in elsewhere.items() if code in codes}, **themselves}
    if answered:
        themselves |= {**dict.fromkeys(YES, "yes"), **dict.fromkeys(NO, "no")}
    return {**themselves, **{word: code for word, code in built_in(column).items() if code in codes}, **own}


_PROGRAMS = """
excel openpyxl xlsxwriter libreoffice openoffice calc sheets sheetjs poi numbers gnumeric planmaker wps writexl
openxlsx exceljs epplus closedxml onlyoffice softmaker aspose pandas
"""
_WORDS_BESIDE = """
microsoft google apache macintosh office online compatible project build linux windows macosx macos org for
spreadsheets x arm cells
"""
_NAMES = frozenset(_PROGRAMS.split())
_BESIDE = frozenset(_WORDS_BESIDE.split())
_TOKEN = re.compile(r"[^\W_]+(?:\.[^\W_]+)*")
_PART = r"(?!(?:19|20)\d\d(?!\d))\d{1,6}"
_VERSION = re.compile(rf"x?\d{{1,4}}|{_PART}(?:\.{_PART}){{1,4}}|aarch64")
_MOST_NUMBERS = 3
_HASH = re.compile("[0-9a-f]{40}")


def is_program(text: str) -> bool:
    """Whether a text is the name of a spreadsheet program, its version and what it runs on, and nothing else."""
    tokens = [token.casefold() for token in _TOKEN.findall(text)]
    if _NAMES.isdisjoint(tokens) or sum(map(str.isdecimal, tokens)) > _MOST_NUMBERS:
        return False
    hashed = "libreoffice" in tokens
    return all(
        token in _NAMES or token in _BESIDE or _VERSION.fullmatch(token) or (hashed and _HASH.fullmatch(token))
        for token in tokens
    )
