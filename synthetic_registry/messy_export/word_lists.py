"""The unit's own words for codes, instruments, places and events."""

from __future__ import annotations

from messy_export.cells import ASKED
from messy_export.people import weighted

CODES: dict[str, dict[str, tuple[str, ...]]] = {
    "sex": {"female": ("F", "f", "female", "Female", "2"), "male": ("M", "m", "male", "MALE", "1")},
    "aetiology": {
        "gallstone": ("gallstone", "gallstones", "GS", "biliary"),
        "alcohol": ("alcohol", "ETOH"),
        "hypertriglyceridaemia": ("HTG", "hypertriglyceridaemia", "lipids"),
        "post_procedural": ("post-ERCP", "post procedural"),
        "drug": ("drug", "drug induced"),
        "autoimmune": ("AIP", "autoimmune"),
        "idiopathic": ("idiopathic", "no cause found"),
    },
    "atlanta_severity": {
        "mild": ("mild",),
        "moderately_severe": ("moderately severe", "mod severe", "MSAP"),
        "severe": ("severe", "SAP"),
    },
    "organ_failure": {
        "none": ("none", "no OF"),
        "transient": ("transient", "TOF <48h"),
        "persistent": ("persistent", "POF"),
    },
    "infection": {
        "confirmed": ("confirmed", "proven", "gas on CT"),
        "suspected": ("suspected", "susp"),
        "none": ("none", "sterile"),
    },
    "nutrition": {
        "oral": ("oral", "PO"),
        "enteral": ("enteral", "NJ", "ng"),
        "parenteral": ("parenteral", "TPN"),
    },
    "antithrombotic": {
        "none": ("none", "not on any"),
        "antiplatelet": ("antiplatelet", "aspirin"),
        "anticoagulant": ("anticoagulant", "DOAC", "heparin"),
        "both": ("both",),
    },
    "duct": {"intact": ("intact", "duct ok"), "disconnected": ("disconnected", "DPDS")},
    "texture": {
        "liquid": ("liquid", "runny"),
        "soft": ("soft",),
        "adherent": ("adherent", "sticky"),
        "tough": ("tough", "like leather"),
    },
    "end_reason": {
        "planned": ("planned", "as planned"),
        "migrated": ("migrated", "fell out"),
        "occluded": ("occluded", "blocked"),
        "exchanged": ("exchanged", "swapped"),
        "bleeding": ("bleeding",),
        "buried": ("buried", "overgrown"),
        "in_place": ("in place", "still in"),
        "death": ("death", "died"),
    },
    "modality": {"ct": ("CT", "ct", "CECT"), "mri": ("MRI", "MR"), "eus": ("EUS",), "us": ("US", "abdo US")},
    "session_type": {
        "drainage": ("drainage", "second drainage"),
        "inspection": ("inspection", "look only"),
        "stent_exchange": ("stent exchange", "swap"),
        "stent_removal": ("stent removal", "stent out"),
        "event_treatment": ("event treatment", "scope for bleed"),
    },
    "kind": {
        "percutaneous_drain": ("percutaneous drain", "perc drain", "IR drain"),
        "embolisation": ("embolisation", "coils"),
        "surgical_necrosectomy": ("surgical necrosectomy", "open necrosectomy"),
        "ercp": ("ERCP",),
        "minimally_invasive_necrosectomy": ("minimally invasive necrosectomy", "VARD"),
        "other": ("other",),
    },
    "death_cause": {
        "pancreatitis": ("pancreatitis", "MOF from AP"),
        "procedure": ("procedure", "procedure related"),
        "other": ("other", "unrelated"),
    },
    "treatment": {
        "none": ("none", "watched"),
        "drug": ("drug", "abx"),
        "transfusion": ("transfusion", "2 units"),
        "endoscopic": ("endoscopic", "clips"),
        "radiological": ("radiological", "IR"),
        "surgical": ("surgical", "theatre"),
        "organ_support": ("organ support", "ITU"),
    },
    "agree_grade": {
        "I": ("I",),
        "II": ("II",),
        "IIIa": ("IIIa", "3a"),
        "IIIb": ("IIIb", "3b"),
        "IVa": ("IVa",),
        "IVb": ("IVb",),
        "V": ("V",),
    },
    "event_type": {
        "bleeding": ("bleeding", "haemorrhage"),
        "pseudoaneurysm": ("pseudoaneurysm", "PSA"),
        "perforation": ("perforation",),
        "pneumoperitoneum": ("pneumoperitoneum", "free air"),
        "gas_embolism": ("gas embolism",),
        "infection": ("infection",),
        "sepsis": ("sepsis", "septic"),
        "stent_migration": ("stent migration", "stent fell out"),
        "stent_occlusion": ("stent occlusion", "stent blocked"),
        "stent_buried": ("stent buried", "overgrown stent"),
        "maldeployment": ("maldeployment", "opened in wrong place"),
        "aspiration": ("aspiration",),
        "fistula": ("fistula",),
        "cardiorespiratory": ("cardiorespiratory", "desat"),
        "obstruction": ("obstruction", "GOO"),
        "sedation": ("sedation", "oversedated"),
        "peroxide": ("peroxide",),
        "other": ("other",),
    },
}
TOOLS: dict[str, tuple[str, ...]] = {
    "snare": ("snare", "loop", "snare"),
    "net": ("net", "landing net"),
    "basket": ("basket", "wire cage"),
    "forceps": ("forceps", "grabber", "rat tooth"),
    "cap_suction": ("suction cap", "big cap"),
    "powered_debrider": ("shaver", "the machine"),
    "rotating_brush": ("rotating brush", "spinner"),
    "water_jet": ("water jet", "jet"),
    "balloon_sweep": ("balloon", "sweeper"),
    "lavage": ("lavage", "washout"),
    "peroxide": ("H2O2", "peroxide"),
    "unknown": ("?",),
}
COMMON = ("snare", "net", "basket", "forceps", "lavage", "peroxide", "water jet", "rotating brush")
SITES: dict[str, tuple[str, ...]] = {
    "lesser_sac": ("lesser sac", "lesser sac", "LS"),
    "left_paracolic": ("L paracolic", "left paracolic"),
    "right_paracolic": ("R paracolic", "right paracolic"),
    "pelvic": ("pelvic",),
    "mesenteric": ("mesenteric", "mesentery"),
    "other": ("perisplenic",),
}
TWICE = {
    "gallstone": "alcohol / gallstone",
    "soft": "soft/adherent",
    "enteral": "oral + enteral",
    "suspected": "proven or suspected",
}
EVENT_WORDS = {
    "bleeding": (("bled, stopped", ""), ("bleed", ""), ("bled", ""), ("bleeding", "")),
    "perforation": (("perf ?microperf", ASKED), ("perf", ""), ("?perf", ASKED)),
}
QUIET = weighted(nil=8, no_bleeding=4, no=1, dash=2, empty=4, blank=2, report=1, two=1, rash=1)
