"""Every table, column, unit and code of a registry, once.

Reading, checking, the data dictionary, the entry workbook and the synthetic registry all come from here.
Scales: a value outside `low`..`high` cannot be right and is set aside; one outside `likely_low`..`likely_high` is
kept and asked about.
"""

from __future__ import annotations

from dataclasses import dataclass

KINDS = ("id", "ids", "text", "code", "whole", "number", "yes_no", "day", "period")
LATEST = "_latest"


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column: its kind, the codes or scale it allows, its unit and what it means.

    A blank is a gap in the record where the column is `expected`, and only in rows whose column `applies[0]`
    holds one of the codes `applies[1]` (everywhere if that is blank); elsewhere a blank is an answer.
    """

    name: str
    kind: str
    meaning: str
    required: bool = False
    codes: tuple[str, ...] = ()
    ordered: bool = False
    unit: str = ""
    low: float | None = None
    high: float | None = None
    likely_low: float | None = None
    likely_high: float | None = None
    refers_to: str = ""
    expected: bool = True
    applies: tuple[str, tuple[str, ...]] = ("", ())

    @property
    def latest(self) -> str:
        """The partner of a day known only as a range: the last day it can be (blank = exact)."""
        return self.name + LATEST if self.kind == "day" else ""


@dataclass(frozen=True, kw_only=True)
class Table:
    """One table: what a row is, its key (blank if it has none) and its columns in order."""

    name: str
    row: str
    key: str
    columns: tuple[Column, ...]
    required: bool = False

    def column(self, name: str) -> Column:
        """The column of that name; KeyError if there is none."""
        return {column.name: column for column in self.all_columns}[name]

    @property
    def all_columns(self) -> tuple[Column, ...]:
        """The columns, each day followed by its optional partner for a range."""
        return tuple(each for column in self.columns for each in _with_partner(column))

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the columns in order, without the partners."""
        return tuple(column.name for column in self.columns)

    @property
    def required_columns(self) -> tuple[Column, ...]:
        """The columns without which a row means nothing."""
        return tuple(column for column in self.columns if column.required)


def _with_partner(column: Column) -> tuple[Column, ...]:
    if column.kind != "day":
        return (column,)
    meaning = f"last day that {column.name} can be; blank = exact"
    return column, Column(name=column.latest, kind="whole", meaning=meaning, unit="days")


def _id(name, refers_to="", meaning="", required=True):
    return Column(
        name=name, kind="id", refers_to=refers_to, required=required, expected=required, meaning=meaning
    )


def _day(name, meaning, *, required=False, **limits):
    return Column(name=name, kind="day", unit="days", meaning=meaning, required=required, **limits)


def _code(name, codes, meaning, **rest):
    return Column(name=name, kind="code", codes=tuple(codes.split()), meaning=meaning, **rest)


def _number(name, unit, meaning, *, low=0.0, **limits):
    return Column(name=name, kind="number", unit=unit, meaning=meaning, low=low, **limits)


def _whole(name, unit, meaning, *, low=0, required=False, **limits):
    return Column(name=name, kind="whole", unit=unit, meaning=meaning, low=low, required=required, **limits)


def _yes_no(name, meaning, **rest):
    return Column(name=name, kind="yes_no", meaning=meaning, **rest)


def _text(name, meaning, *, expected=False):
    return Column(name=name, kind="text", meaning=meaning, expected=expected)


def _period(name, meaning, *, required=False):
    return Column(name=name, kind="period", meaning=meaning, required=required)


def _axes(likely_low):
    limits = {"likely_low": likely_low, "likely_high": 400.0}
    return (
        _number("long_mm", "mm", "longest axis", **limits),
        _number("mid_mm", "mm", "second axis", **limits),
        _number("short_mm", "mm", "shortest axis", **limits),
    )


NECROSECTOMIES = ("necrosectomy", "drainage_and_necrosectomy")
DRAINAGES = ("drainage", "drainage_and_necrosectomy")
MOST_LIKELY_SESSIONS = 23
LONGEST_LUMEN_APPOSING_DAYS = 28

_WHEN_DEAD = ("vital_status", ("dead",))
_WHEN_DEBRIDED = ("session_type", NECROSECTOMIES)
YIELD_UNITS = "ml g percent_cleared"
SOLID = _number("solid_percent", "%", "share of the contents that is solid", high=100.0)

PATIENTS = Table(
    name="patients",
    row="a patient",
    key="patient_id",
    required=True,
    columns=(
        _id("patient_id", meaning="study code; not a record number and not derived from one"),
        _whole("age_years", "years", "age at index drainage; 90 stands for 90 and over", likely_low=18),
        _code("sex", "female male other", "sex"),
        _code(
            "aetiology",
            "gallstone alcohol hypertriglyceridaemia post_procedural drug autoimmune idiopathic other",
            "cause of the pancreatitis",
        ),
        _day("onset_day", "onset of pancreatitis; before day 0", high=0, likely_low=-730, likely_high=-28),
        _code(
            "atlanta_severity",
            "mild moderately_severe severe",
            "severity, revised Atlanta classification 2012",
            ordered=True,
        ),
        _code(
            "organ_failure", "none transient persistent", "organ failure before index drainage", ordered=True
        ),
        _code("infection", "confirmed suspected none", "infection of the necrosis at index drainage"),
        _whole("asa_class", "", "ASA physical status class", low=1, high=5),
        _whole("comorbidity_index", "points", "Charlson comorbidity index", high=37),
        _code("nutrition", "oral enteral parenteral", "nutrition at index drainage"),
        _code(
            "prior_intervention",
            "none percutaneous endoscopic surgical",
            "intervention before index drainage",
        ),
        _code(
            "antithrombotic", "none antiplatelet anticoagulant both", "antithrombotic drugs at index drainage"
        ),
        _code("duct", "intact disconnected", "main pancreatic duct, when known", expected=False),
        _period("index_period", "period of the index drainage", required=True),
        _whole("observed_days", "days", "from index drainage to the data lock", required=True),
        _day("last_contact_day", "last day known alive and under observation", required=True, low=0),
        _code("vital_status", "alive dead", "alive or dead at last contact", required=True),
        _day("death_day", "day of death; required if dead", low=0, applies=_WHEN_DEAD),
        _code("death_cause", "pancreatitis procedure other", "cause of death", applies=_WHEN_DEAD),
    ),
)

COLLECTIONS = Table(
    name="collections",
    row="a collection",
    key="collection_id",
    required=True,
    columns=(
        _id("collection_id", meaning="study code of the collection"),
        _id("patient_id", "patients", "whose collection it is"),
        _yes_no("is_index", "the collection drained on day 0: exactly one a patient", required=True),
        _code("site", "lesser_sac left_paracolic right_paracolic pelvic mesenteric other", "where it lies"),
        _day("detected_day", "day it was first seen; may be months into treatment"),
        _id("communicates_with", "collections", "collection it communicates with", required=False),
        _whole("quadrants", "", "abdominal quadrants it reaches into", low=1, high=4),
        *_axes(20.0),
        _number("volume_ml", "ml", "volume at baseline", likely_low=10.0, likely_high=10_000.0),
        _code("volume_method", "segmented ellipsoid reported", "how the volume was found"),
        SOLID,
        _yes_no("encapsulated", "wall complete on the baseline scan"),
        _day("baseline_scan_day", "day of the baseline scan"),
    ),
)

SESSIONS = Table(
    name="sessions",
    row="one time the scope goes in",
    key="session_id",
    required=True,
    columns=(
        _id("session_id", meaning="study code of the session"),
        _id("patient_id", "patients", "who was treated"),
        _id("collection_id", "collections", "collection treated first"),
        Column(
            name="also_treated",
            kind="ids",
            refers_to="collections",
            meaning="further collections, ; between",
            expected=False,
        ),
        _day("day", "day of the session", required=True, low=0),
        _period("period", "period of the session"),
        _code(
            "session_type",
            "drainage necrosectomy drainage_and_necrosectomy inspection stent_exchange stent_removal event_treatment",
            "what the session was for",
            required=True,
        ),
        _yes_no("planned", "planned, not an emergency"),
        _text("operator", "pseudonym of the operator", expected=True),
        _number("minutes_total", "minutes", "scope in to scope out", likely_low=1.0, likely_high=480.0),
        _number(
            "minutes_debridement",
            "minutes",
            "time spent debriding",
            likely_low=1.0,
            likely_high=480.0,
            applies=_WHEN_DEBRIDED,
        ),
        _code("anaesthesia", "sedation monitored general", "sedation, monitored care or general anaesthesia"),
        _yes_no("carbon_dioxide", "carbon dioxide used for insufflation"),
        _number(
            "tract_dilation_mm",
            "mm",
            "diameter the tract was dilated to",
            likely_low=6.0,
            likely_high=20.0,
            expected=False,
        ),
        _code(
            "texture",
            "liquid soft adherent tough",
            "what was met, recorded before debridement",
            ordered=True,
            applies=_WHEN_DEBRIDED,
        ),
        _whole("passes", "", "in-and-out passes", likely_high=300, applies=_WHEN_DEBRIDED),
        _number("yield_low", "in yield_unit", "yield, or the low end of its range", applies=_WHEN_DEBRIDED),
        _number(
            "yield_high",
            "in yield_unit",
            "high end of the range; blank = more than yield_low",
            expected=False,
        ),
        _code("yield_unit", YIELD_UNITS, "unit of the yield", applies=_WHEN_DEBRIDED),
        _yes_no("yield_approximate", "written as about so much", expected=False),
        _code(
            "yield_words",
            "none trace small moderate large",
            "the word written instead of a number",
            ordered=True,
            expected=False,
        ),
        _text("yield_as_written", "the cell itself"),
        _yes_no("yield_includes_lavage", "lavage fluid is counted in the yield", applies=_WHEN_DEBRIDED),
        _number("lavage_in_ml", "ml", "lavage fluid put in", expected=False),
        _number("peroxide_ml", "ml", "hydrogen peroxide put in", expected=False),
        _number(
            "peroxide_percent",
            "%",
            "strength of the hydrogen peroxide; above 6 % stops",
            high=6.0,
            likely_low=0.1,
            likely_high=3.0,
            expected=False,
        ),
        _yes_no(
            "stomach_aspirated",
            "stomach aspirated before withdrawal, after peroxide or lavage",
            expected=False,
        ),
        _code(
            "clearance",
            "complete partial none",
            "how much of the necrosis was cleared",
            applies=_WHEN_DEBRIDED,
        ),
        _code(
            "stopped_early",
            "no bleeding desaturation perforation access time other",
            "why it was stopped early",
        ),
        _yes_no(
            "events_checked", "somebody looked for adverse events; blank or no, without a row, is unknown"
        ),
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
        _id("session_id", "sessions", "session it was used in"),
        _code(
            "instrument_class",
            " ".join((*COMPARED_CLASSES, *ADJUNCTS, "other", "unknown")),
            "generic class of instrument; lavage and peroxide are adjuncts and never compared on yield",
            required=True,
        ),
        _text("other_text", "what other was, in generic words"),
        _whole("use_order", "", "order of use in the session", low=1),
        _yes_no("is_primary", "the primary instrument: at most one a session"),
        _whole("passes", "", "in-and-out passes with it", likely_high=300),
        _number("minutes", "minutes", "time it was used", likely_high=480.0),
        _number(
            "yield_low", "in yield_unit", "yield with it, only where recorded by instrument", expected=False
        ),
        _number(
            "yield_high",
            "in yield_unit",
            "high end of the range; blank = more than yield_low",
            expected=False,
        ),
        _code("yield_unit", YIELD_UNITS, "unit of the yield", expected=False),
        _text("yield_as_written", "the cell itself"),
    ),
)

STENTS = Table(
    name="stents",
    row="a stent",
    key="stent_id",
    columns=(
        _id("stent_id", meaning="study code of the stent"),
        _id("patient_id", "patients", "whose stent it is"),
        _id("collection_id", "collections", "collection it drains", required=False),
        _code(
            "stent_type",
            "lumen_apposing double_pigtail self_expanding_metal nasocystic percutaneous",
            "generic type",
            required=True,
        ),
        _number("diameter_mm", "mm", "diameter", expected=False),
        _number("caliber_fr", "Fr", "calibre", expected=False),
        _yes_no("coaxial", "placed through another stent"),
        _day("placed_day", "day placed", required=True, low=0),
        _day("removed_day", "day removed; blank with reason in_place = still there", expected=False),
        _code(
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
        _id("scan_id", meaning="study code of the scan"),
        _id("patient_id", "patients", "who was scanned"),
        _id("collection_id", "collections", "collection measured"),
        _day("day", "day of the scan", required=True),
        _code("modality", "ct mri eus us", "modality"),
        *_axes(0.0),
        _number("volume_ml", "ml", "volume", likely_high=10_000.0),
        SOLID,
        _yes_no("elsewhere", "done in another hospital"),
    ),
)

REVIEWS = Table(
    name="reviews",
    row="a clinical review",
    key="",
    columns=(
        _id("patient_id", "patients", "who was reviewed"),
        _day("day", "day of the review", required=True),
        _yes_no("symptom_free", "free of symptoms"),
        _yes_no("fever", "fever"),
        _yes_no("oral_diet", "eating by mouth"),
    ),
)

ADVERSE_EVENTS = Table(
    name="adverse_events",
    row="an adverse event",
    key="event_id",
    columns=(
        _id("event_id", meaning="study code of the event"),
        _id("patient_id", "patients", "who had it"),
        _id("session_id", "sessions", "session it is put down to", required=False),
        _id("stent_id", "stents", "stent it is put down to", required=False),
        _day("day", "day it happened", required=True),
        _code(
            "event_type",
            "bleeding pseudoaneurysm perforation pneumoperitoneum gas_embolism infection sepsis stent_migration "
            "stent_occlusion stent_buried maldeployment aspiration cardiorespiratory fistula obstruction sedation "
            "peroxide other",
            "what happened",
            required=True,
        ),
        _code("phase", "during after", "during the session or after it"),
        _code("agree_grade", "I II IIIa IIIb IVa IVb V", "AGREE grade", ordered=True),
        _code("asge_severity", "mild moderate severe fatal", "ASGE severity", ordered=True),
        _code(
            "clavien_grade",
            "I II IIIa IIIb IVa IVb V",
            "Clavien–Dindo grade; not the same as AGREE",
            ordered=True,
        ),
        _code(
            "attribution",
            "definite probable possible unlikely",
            "how surely the procedure caused it",
            ordered=True,
        ),
        _code(
            "treatment",
            "none drug transfusion endoscopic radiological surgical organ_support",
            "treatment it needed",
        ),
        _whole("extra_nights", "nights", "further nights in hospital"),
        _whole("icu_nights", "nights", "nights in intensive care"),
    ),
)

OTHER_INTERVENTIONS = Table(
    name="other_interventions",
    row="an intervention that is not endoscopic",
    key="",
    columns=(
        _id("patient_id", "patients", "who had it"),
        _day("day", "day it was done", required=True),
        _code(
            "kind",
            "percutaneous_drain surgical_necrosectomy minimally_invasive_necrosectomy embolisation ercp other",
            "what was done",
            required=True,
        ),
        _text("reason", "why, in generic words"),
    ),
)

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        PATIENTS, COLLECTIONS, SESSIONS, INSTRUMENT_USES, STENTS, SCANS, REVIEWS, ADVERSE_EVENTS,
        OTHER_INTERVENTIONS,
    )
}  # fmt: skip
