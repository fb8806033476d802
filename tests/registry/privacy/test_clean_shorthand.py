"""Shorthand of clean session spreadsheets in several languages: nothing in it may stop an export."""

from __future__ import annotations

import pytest

from necrostats.registry.privacy import Sheet, find_identifiers

OTHER_SHEETS = """
Kranke Ambulanz Kontrollen Todesfälle Kürzel Legende Kommentar Antécédents Décès Lexique Contrôles Registro Casos
Fallecidos Ayuda Malati Controlli Decessi Scheda Help Glossary Tracker Demographics Info Summary Pivot Lookup Audit
"""
TOOLS = """
snare+net, then H2O2|rat-tooth forceps x2|Polypenschlinge + Netz|Schlinge, Körbchen|panier de Dormia
Fasszange|LAMS 20 x 10|DPT 7 Fr x 5 cm|10 Fr DPS|guidewire 0.035|Seldinger, 12F|S+N|APC 40W|cap 4 cm
as before|Yankauer
"""
YIELDS = """
~250 cc|40 ml (est)|60%→90%|ca 30 ml Nekrose|unos 30 cc|weighed 34 g|sample 250ml|100-150|3 x 20 ml
1L in, 900 out
"""
REMARKS = """
WON x2 (lesser sac + L paracolic)|CT wk 3|CT 3/12|6/52|rpt 72 hrs|Roux-en-Y|Billroth II
Clavien-Dindo 3b|Balthazar E|Hounsfield unchanged|Treitz|Oddi|Courvoisier|Crohn's|Hartmann's
Wilson's neg|Ivor Lewis prev|Kaplan-Meier curve|DNACPR|septic, meropenem 1 g tds|enoxaparin 40
S. milleri|C. glabrata|E. faecium VRE|MDT Tues|seen by IR|reviewed by HPB|per protocol
removed with RTF|station 7 LN|Sono o.B.|DD Pseudozyste|Stentwechsel|Deutliche Besserung
Blut aus Papille|eau claire|globuli rossi 12|rene sx|anders als zuvor|pus franco|frank pus
uses walker|acc to 2012 criteria|cf 120x100 mm|los 2000 ml|vers 10x12 cm|plaque 2 cm wide
reg 300 ml/h|SpO2 95%|HR 95|BP 95/60|temp 98 F|defib 120J|100 W|ninety percent|90 day mortality
12 X 10 cm|grade 3 V 20|4.5 -> 2.0 cm|CRP 12.5.|2/3 cleared|pain 8/10|10/7 abx
Christmas tree adaptor|stent@antrum|5000 IU|1:100000 adrenaline|RAO view|amylase 123000
200 300 400 ml at sessions 1 2 3|12-14-16 Fr|Pat. fieberfrei|Z.n. ERCP|pas de fièvre|buon drenaggio
sin fiebre|geen bloeding|出血|없음|אין
"""

TEXTS = [text for line in (TOOLS + YIELDS + REMARKS).splitlines() for text in line.split("|") if text]


@pytest.mark.parametrize("text", TEXTS)
def test_the_shorthand_of_a_clean_spreadsheet_passes(text: str) -> None:
    sheet = Sheet(file="unit.xlsx", name="DEN", header=["Remarks"], columns={"Remarks": ["stable", text, "", "net"]})
    assert find_identifiers([sheet]) == []


@pytest.mark.parametrize(
    "name",
    ["Sessions", "DEN list", "WON 2", "Tabelle1", "necrosectomy_2026Q3", "unit_export_v2.xlsx", *OTHER_SHEETS.split()],
)
def test_plain_names_of_sheets_and_files_pass(name: str) -> None:
    assert find_identifiers([Sheet(file=name, name=name, header=["x"], columns={"x": ["1"]})]) == []
