"""Every table, column, unit and code of a registry, once.

Reading, checking, the data dictionary, the entry workbook and the synthetic registry all come from here.
"""

from __future__ import annotations

from necrostats.registry.columns import (
    Column,
    Table,
    code,
    day,
    key,
    number,
    period,
    text,
    whole,
    yes_no,
)


def _axes(likely_low):
    limits = {"likely_low": likely_low, "likely_high": 400.0}
    return (
        number("long_mm", "mm", "longest axis", **limits),
        number("mid_mm", "mm", "second axis", **limits),
        number("short_mm", "mm", "shortest axis", **limits),
    )


NECROSECTOMIES = ("necrosectomy", "drainage_and_necrosectomy")
DRAINAGES = ("drainage", "drainage_and_necrosectomy")
MOST_LIKELY_SESSIONS = 23
MOST_LIKELY_YIELD = 2000  # ml or g in one session
LONGEST_LUMEN_APPOSING_DAYS = 28

_WHEN_DEAD = ("vital_status", ("dead",))
_WHEN_DEBRIDED = ("session_type", NECROSECTOMIES)
YIELD_UNITS = "ml g percent_cleared"
SOLID = number("solid_percent", "%", "share of the contents that is solid", high=100.0)

PATIENTS = Table(
    name="patients",
    row="a patient",
    key="patient_id",
    required=True,
    columns=(
        key("patient_id", meaning="study code; not a record number and not derived from one"),
        whole("age_years", "years", "age at index drainage; 90 stands for 90 and over", likely_low=18),
        code("sex", "female male other", "sex"),
        code(
            "aetiology",
            "gallstone alcohol hypertriglyceridaemia post_procedural drug autoimmune idiopathic other",
            "cause of the pancreatitis",
        ),
        day("onset_day", "onset of pancreatitis; before day 0", high=0, likely_low=-730, likely_high=-28),
        code(
            "atlanta_severity",
            "mild moderately_severe severe",
            "severity, revised Atlanta classification 2012",
            ordered=True,
        ),
        code("organ_failure", "none transient persistent", "organ failure before index drainage", ordered=True),
        code("infection", "confirmed suspected none", "infection of the necrosis at index drainage"),
        whole("asa_class", "", "ASA physical status class", low=1, high=5),
        whole("comorbidity_index", "points", "Charlson comorbidity index", high=37),
        code("nutrition", "oral enteral parenteral", "nutrition at index drainage"),
        code(
            "prior_intervention",
            "none percutaneous endoscopic surgical",
            "intervention before index drainage",
        ),
        code("antithrombotic", "none antiplatelet anticoagulant both", "antithrombotic drugs at index drainage"),
        code("duct", "intact disconnected", "main pancreatic duct, when known", expected=False),
        period("index_period", "period of the index drainage", required=True),
        whole("observed_days", "days", "from index drainage to the data lock", required=True),
        day("last_contact_day", "last day known alive and under observation", required=True, low=0),
        code("vital_status", "alive dead", "alive or dead at last contact", required=True),
        day("death_day", "day of death; required if dead", low=0, applies=_WHEN_DEAD),
        code("death_cause", "pancreatitis procedure other", "cause of death", applies=_WHEN_DEAD),
    ),
)

COLLECTIONS = Table(
    name="collections",
    row="a collection",
    key="collection_id",
    required=True,
    columns=(
        key("collection_id", meaning="study code of the collection"),
        key("patient_id", "patients", "whose collection it is"),
        yes_no("is_index", "the collection drained on day 0: exactly one a patient", required=True),
        code("site", "lesser_sac left_paracolic right_paracolic pelvic mesenteric other", "where it lies"),
        day("detected_day", "day it was first seen; may be months into treatment"),
        key("communicates_with", "collections", "collection it communicates with", required=False),
        whole("quadrants", "", "abdominal quadrants it reaches into", low=1, high=4),
        *_axes(20.0),
        number("volume_ml", "ml", "volume at baseline", likely_low=10.0, likely_high=10_000.0),
        code("volume_method", "segmented ellipsoid reported", "how the volume was found"),
        SOLID,
        yes_no("encapsulated", "wall complete on the baseline scan"),
        day("baseline_scan_day", "day of the baseline scan"),
    ),
)

SESSIONS = Table(
    name="sessions",
    row="one time the scope goes in",
    key="session_id",
    required=True,
    columns=(
        key("session_id", meaning="study code of the session"),
        key("patient_id", "patients", "who was treated"),
        key("collection_id", "collections", "collection treated first"),
        Column(
            name="also_treated",
            kind="ids",
            refers_to="collections",
            meaning="further collections, ; between",
            expected=False,
        ),
        day("day", "day of the session", required=True, low=0),
        period("period", "period of the session"),
        code(
            "session_type",
            "drainage necrosectomy drainage_and_necrosectomy inspection stent_exchange stent_removal event_treatment",
            "what the session was for",
            required=True,
        ),
        yes_no("planned", "planned, not an emergency"),
        text("operator", "pseudonym of the operator", expected=True),
        number("minutes_total", "minutes", "scope in to scope out", likely_low=1.0, likely_high=480.0),
        number(
            "minutes_debridement",
            "minutes",
            "time spent debriding",
            likely_low=1.0,
            likely_high=480.0,
            applies=_WHEN_DEBRIDED,
        ),
        code("anaesthesia", "sedation monitored general", "sedation, monitored care or general anaesthesia"),
        yes_no("carbon_dioxide", "carbon dioxide used for insufflation"),
        number(
            "tract_dilation_mm",
            "mm",
            "diameter the tract was dilated to",
            likely_low=6.0,
            likely_high=20.0,
            expected=False,
        ),
        code(
            "texture",
            "liquid soft adherent tough",
            "what was met, recorded before debridement",
            ordered=True,
            applies=_WHEN_DEBRIDED,
        ),
        whole("passes", "", "in-and-out passes", likely_high=300, applies=_WHEN_DEBRIDED),
        number("yield_low", "in yield_unit", "yield, or the low end of its range", applies=_WHEN_DEBRIDED),
        number(
            "yield_high",
            "in yield_unit",
            "high end of the range; blank = more than yield_low",
            expected=False,
        ),
        code("yield_unit", YIELD_UNITS, "unit of the yield", applies=_WHEN_DEBRIDED),
        yes_no("yield_approximate", "written as about so much", expected=False),
        code(
            "yield_words",
            "none trace small moderate large",
            "the word written instead of a number",
            ordered=True,
            expected=False,
        ),
        text("yield_as_written", "the cell itself"),
        yes_no("yield_includes_lavage", "lavage fluid is counted in the yield", applies=_WHEN_DEBRIDED),
        number("lavage_in_ml", "ml", "lavage fluid put in", expected=False),
        number("peroxide_ml", "ml", "hydrogen peroxide put in", expected=False),
        number(
            "peroxide_percent",
            "%",
            "strength of the hydrogen peroxide; above 6 % stops",
            high=6.0,
            likely_low=0.1,
            likely_high=3.0,
            expected=False,
        ),
        yes_no(
            "stomach_aspirated",
            "stomach aspirated before withdrawal, after peroxide or lavage",
            expected=False,
        ),
        code(
            "clearance",
            "complete partial none",
            "how much of the necrosis was cleared",
            applies=_WHEN_DEBRIDED,
        ),
        code(
            "stopped_early",
            "no bleeding desaturation perforation access time other",
            "why it was stopped early",
        ),
        yes_no("events_checked", "somebody looked for adverse events; blank or no, without a row, is unknown"),
    ),
)

ADJUNCTS = ("lavage", "peroxide")
COMPARED_CLASSES = (
    "snare",
    "net",
    "basket",
    "forceps",
    "cap_suction",
    "powered_debrider",
    "rotating_brush",
    "water_jet",
    "balloon_sweep",
)

INSTRUMENT_USES = Table(
    name="instrument_uses",
    row="an instrument class in a session",
    key="",
    columns=(
        key("session_id", "sessions", "session it was used in"),
        code(
            "instrument_class",
            " ".join((*COMPARED_CLASSES, *ADJUNCTS, "other", "unknown")),
            "generic class of instrument; lavage and peroxide are adjuncts and never compared on yield",
            required=True,
        ),
        text("other_text", "what other was, in generic words"),
        whole("use_order", "", "order of use in the session", low=1),
        yes_no("is_primary", "the primary instrument: at most one a session"),
        whole("passes", "", "in-and-out passes with it", likely_high=300),
        number("minutes", "minutes", "time it was used", likely_high=480.0),
        number("yield_low", "in yield_unit", "yield with it, only where recorded by instrument", expected=False),
        number(
            "yield_high",
            "in yield_unit",
            "high end of the range; blank = more than yield_low",
            expected=False,
        ),
        code("yield_unit", YIELD_UNITS, "unit of the yield", expected=False),
        text("yield_as_written", "the cell itself"),
    ),
)

STENTS = Table(
    name="stents",
    row="a stent",
    key="stent_id",
    columns=(
        key("stent_id", meaning="study code of the stent"),
        key("patient_id", "patients", "whose stent it is"),
        key("collection_id", "collections", "collection it drains", required=False),
        code(
            "stent_type",
            "lumen_apposing double_pigtail self_expanding_metal nasocystic percutaneous",
            "generic type",
            required=True,
        ),
        number("diameter_mm", "mm", "diameter", expected=False),
        number("caliber_fr", "Fr", "calibre", expected=False),
        yes_no("coaxial", "placed through another stent"),
        day("placed_day", "day placed", required=True, low=0),
        day("removed_day", "day removed; blank with reason in_place = still there", expected=False),
        code(
            "end_reason",
            "planned migrated occluded exchanged bleeding buried in_place death",
            "why it came out",
        ),
    ),
)

SCANS = Table(
    name="scans",
    row="a collection on one scan",
    key="scan_id",
    columns=(
        key("scan_id", meaning="study code of the scan"),
        key("patient_id", "patients", "who was scanned"),
        key("collection_id", "collections", "collection measured"),
        day("day", "day of the scan", required=True),
        code("modality", "ct mri eus us", "modality"),
        *_axes(0.0),
        number("volume_ml", "ml", "volume", likely_high=10_000.0),
        SOLID,
        yes_no("elsewhere", "done in another hospital"),
    ),
)

REVIEWS = Table(
    name="reviews",
    row="a clinical review",
    key="",
    columns=(
        key("patient_id", "patients", "who was reviewed"),
        day("day", "day of the review", required=True),
        yes_no("symptom_free", "free of symptoms"),
        yes_no("fever", "fever"),
        yes_no("oral_diet", "eating by mouth"),
    ),
)

ADVERSE_EVENTS = Table(
    name="adverse_events",
    row="an adverse event",
    key="event_id",
    columns=(
        key("event_id", meaning="study code of the event"),
        key("patient_id", "patients", "who had it"),
        key("session_id", "sessions", "session it is put down to", required=False),
        key("stent_id", "stents", "stent it is put down to", required=False),
        day("day", "day it happened", required=True),
        code(
            "event_type",
            "bleeding pseudoaneurysm perforation pneumoperitoneum gas_embolism infection sepsis stent_migration "
            "stent_occlusion stent_buried maldeployment aspiration cardiorespiratory fistula obstruction sedation "
            "peroxide other",
            "what happened",
            required=True,
        ),
        code("phase", "during after", "during the session or after it"),
        code("agree_grade", "I II IIIa IIIb IVa IVb V", "AGREE grade", ordered=True),
        code("asge_severity", "mild moderate severe fatal", "ASGE severity", ordered=True),
        code(
            "clavien_grade",
            "I II IIIa IIIb IVa IVb V",
            "Clavien–Dindo grade; not the same as AGREE",
            ordered=True,
        ),
        code(
            "attribution",
            "definite probable possible unlikely",
            "how surely the procedure caused it",
            ordered=True,
        ),
        code(
            "treatment",
            "none drug transfusion endoscopic radiological surgical organ_support",
            "treatment it needed",
        ),
        whole("extra_nights", "nights", "further nights in hospital"),
        whole("icu_nights", "nights", "nights in intensive care"),
    ),
)

OTHER_INTERVENTIONS = Table(
    name="other_interventions",
    row="an intervention that is not endoscopic",
    key="",
    columns=(
        key("patient_id", "patients", "who had it"),
        day("day", "day it was done", required=True),
        code(
            "kind",
            "percutaneous_drain surgical_necrosectomy minimally_invasive_necrosectomy embolisation ercp other",
            "what was done",
            required=True,
        ),
        text("reason", "why, in generic words"),
    ),
)

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        PATIENTS,
        COLLECTIONS,
        SESSIONS,
        INSTRUMENT_USES,
        STENTS,
        SCANS,
        REVIEWS,
        ADVERSE_EVENTS,
        OTHER_INTERVENTIONS,
    )
}
