"""Invented wide exports of an endoscopy unit without any identifier, to count false alarms of the privacy check."""

from __future__ import annotations

import numpy as np

from necrostats.registry.privacy import Sheet

FIRST_REMARKS = (
    "stent patent, pus ++, 2 passes",
    "Stent patent. Pus ++. Snare x2 then H2O2",
    "Roux limb, access difficult",
    "no bleeding",
    "bled, stopped with clips x2 and adrenaline",
    "~250 cc out, 1 L in",
    "LAMS in situ, coaxial 7 Fr x 10 cm DPT",
    "tough adherent necrosis along L paracolic gutter",
    "Net and basket, 200-300 ml yield",
    "desat to 84%, stopped early",
    "for CT in 2/52 then repeat DEN",
    "Gram stain: Enterococcus faecium",
    "grew Candida albicans, fluconazole started",
    "AGREE IIIa, transfused 2 units",
    "Trendelenburg position, CO2 off",
    "balloon dilated to 15 mm",
    "perf ?microperf, Abx",
    "fistula to splenic flexure",
    "Whipple 2019",
    "Hb 84, INR 1.2, plts 145",
    "stent changed to 2 x double pigtail",
    "communicates with left paracolic collection",
    "stopped: time",
    "60 mins, GA, ETT",
    "see report",
    "as before",
    "review 6/12",
    "pass 1-3 dry, pass 4 pus",
    "WON x2 (lesser sac + L paracolic)",
    "H2O2 3% 100 ml, aspirated",
    "nil of note",
    "Patient stable, eating",
    "PPI stopped",
    "day 14: fever 38.5, CRP 180",
    "12x10x8",
    "120 x 100 x 80 mm",
    "Q3 2026 audit",
    "grade IIIa (AGREE)",
    "No debris left. Cavity collapsed.",
    "Hounsfield units < 30",
    "Cold snare used, no diathermy",
    "next session in 3 days",
    "stent buried, pulled with forceps",
    "IR drain 12 Fr in R flank",
    "Child-Pugh B cirrhosis",
    "disconnected duct, pigtails left long term",
    "tract dilated, scope passed",
    "6 passes / 45 min",
    "MRCP: disconnected duct",
    "200 300 400 ml at sessions 1 2 3",
    "Clavien-Dindo IIIb",
    "patient no longer septic",
    "lot of debris",
    "unit of blood x 2",
)
SECOND_REMARKS = (
    "Eiter +++, Nekrosen mit Schlinge entfernt, keine Blutung",
    "Stent offen; reichlich Restnekrose links",
    "pus franc, pas de saignement",
    "coleccion residual, lavado con suero",
    "GOOD CLEARANCE TODAY, STENT LEFT",
    "Technically easy. Large chunks out, cavity nearly clear.",
    "Cavity entered via LAMS; solid debris ++ removed with Net",
    "Friable wall, oozing settled with time",
    "Aborted - hypoxia (SpO2 82%)",
    "400mls brown fluid suctioned",
    "Pigtail dislodged & replaced (10Fr 7cm)",
    "On meropenem since admission",
    "Billroth II anatomy",
    "Bleed from splenic artery pseudoaneurysm -> IR coil",
    "Pt tolerated well under propofol",
    "40% solid on MRI",
    "Lactate 3.1, norad 0.2",
    "Discussed at MDT: continue endoscopic approach",
    "Second LAMS for pelvic extension",
    "DPDS. Plan: leave plastics indefinitely",
    "Residual 4 x 3 cm, watch",
    "Peroxide lavage then forceps; 5 passes",
    "Haemoclips x3, haemostatic powder",
    "Klebsiella pneumoniae (ESBL)",
    "Stent migrated into stomach, retrieved w/ rat-tooth",
    "NJ feeding restarted",
    "approx. 1/2 cleared",
    "15 Fr drain upsized to 20 Fr",
    "Ranson 5, APACHE II 12, BISAP 3",
    "Extubated next day",
    "Steroid-refractory autoimmune disease",
    "no change, idem",
    "Gas in collection; cultures pending",
    "Grasping forceps > snare today",
    "Ringer's lactate 3 L",
    "Video capture failed",
    "Vacuum sponge therapy, day 3 of 5",
    "Hb drop 112 -> 86, 2 RBC",
    "Tract matured; no dilatation needed",
    "Fully covered SEMS 60 mm",
    "Pancreas divisum",
    "Fungal balls seen",
    "Session 4/5",
    "T tube clamped",
    "Reviewed CT with radiology: paracolic gutter not drained",
    "Portal vein thrombosis, varices++",
    "Walled off, encapsulated (6 weeks)",
    "Jackson-Pratt drain out",
    "Foley balloon tamponade",
    "Stopped - endoscopist fatigue",
    "Family updated",
    "Sepsis resolved, home soon",
    "Anticoagulation held 48 h",
)
_TOOLS = (
    "snare",
    "net",
    "snare+net, then H2O2",
    "Snare",
    "basket",
    "forceps x2",
    "Cap suction",
    "powered debrider",
    "Snare; Net",
    "?",
    "",
)
_YIELDS = (
    "~250 cc",
    "300 ml",
    "200-300",
    ">500",
    "minimal",
    "1.2 L out (1 L in)",
    "0",
    "",
    "moderate",
    "120 g",
    "60 % cleared",
    "1500",
)
_EVENTS = ("nil", "bled, stopped", "", "desaturation", "perforation", "no bleeding", "Stent migration", "fever 39.1")
_SITES = (
    "lesser sac",
    "Lesser sac",
    "L paracolic",
    "Right Paracolic",
    "pelvic",
    "Lesser Sac + L paracolic",
    "Mesenteric root",
)


def _column(rng: np.random.Generator, choices: tuple[str, ...], rows: int) -> list[str]:
    return [str(choice) for choice in rng.choice(np.array(choices, dtype=object), rows)]


def _dates(rng: np.random.Generator, rows: int) -> list[str]:
    days = np.datetime64("2023-01-01") + rng.integers(0, 1200, rows)
    return [f"{str(day)[8:]}/{str(day)[5:7]}/{str(day)[:4]}" for day in days]


def clean_columns(
    *, rows: int, seed: int, remarks: tuple[str, ...] = FIRST_REMARKS, sessions: int = 5
) -> dict[str, list[str]]:
    """A wide export: one row a patient, study codes, and a date, tools, yield, events and remarks for each session."""
    rng = np.random.default_rng(seed)
    number = [str(each) for each in rng.integers(18, 90, rows)]
    columns = {
        "Study ID": [f"P{each + 1:03d}" for each in range(rows)],
        "Age": number,
        "Sex": _column(rng, ("M", "F"), rows),
        "Indication": _column(
            rng, ("WON", "infected WON", "gastric outlet obstruction", "Pain", "Infected necrosis"), rows
        ),
        "Aetiology": _column(
            rng, ("Gallstone", "alcohol", "Idiopathic", "Hypertriglyceridaemia", "post-ERCP", "Drug"), rows
        ),
        "Site": _column(rng, _SITES, rows),
        "Size (mm)": [f"{a}x{b}x{c}" for a, b, c in rng.integers(40, 200, (rows, 3))],
        "Colour": _column(rng, ("brown", "green", "Bloody", "pus"), rows),
        "Texture": _column(rng, ("soft", "Adherent", "tough", "liquid"), rows),
        "Anaesthesia": _column(rng, ("GA", "Sedation", "propofol", "MAC"), rows),
        "Instrument": _column(rng, _TOOLS, rows),
        "Operator": _column(rng, ("A", "B", "op1", "operator E", "Consultant 2", "fellow"), rows),
        "Quarter": _column(rng, ("2026Q3", "2025Q4", "Q1 2026"), rows),
        "Platelets": [str(each) for each in rng.integers(90, 450, rows) * 1000],
        "Index drainage date": _dates(rng, rows),
    }
    for session in range(1, sessions + 1):
        columns[f"DEN{session} date"] = _dates(rng, rows)
        columns[f"DEN{session} tools"] = _column(rng, _TOOLS, rows)
        columns[f"DEN{session} yield"] = _column(rng, _YIELDS, rows)
        columns[f"DEN{session}\nadverse events"] = _column(rng, _EVENTS, rows)
        columns[f"DEN{session} remarks"] = _column(rng, remarks, rows)
    return columns


def date_columns(columns: dict[str, list[str]]) -> list[str]:
    """The headings of the columns that hold dates on purpose."""
    return [heading for heading in columns if heading.endswith("date")]


def sheet_of(columns: dict[str, list[str]], name: str = "DEN") -> Sheet:
    """The columns as a sheet."""
    return Sheet(file="unit_export.xlsx", name=name, header=list(columns), columns=columns)
