"""What a report of a cohort or a case series should hold: two checklists as data, in words of our own.

STROBE for cohort studies (numbers as in a printed checklist that was read) and PROCESS 2023 for case series (numbers
of the first five topics read; of the others the topic is from memory and has no number). Neither text is copied: check
the paper before quoting one.
"""

from __future__ import annotations

from dataclasses import dataclass

STROBE = "STROBE, cohort studies (von Elm et al., Lancet 2007;370:1453)"
PROCESS = "PROCESS 2023, case series (Mathew et al., Int J Surg 2023;109:3760)"


@dataclass(frozen=True, kw_only=True)
class ReportingItem:
    """One item: where it stands, what it asks for, and what part of a case series meets it.

    `met_by` names results of a case series ("flow", "baseline", "time" …) or its texts ("methods", "definition",
    "abstract"); none: the author's to write. `still_open` is what the author has to add even so.
    """

    checklist: str
    number: str
    topic: str
    asks: str
    met_by: tuple[str, ...] = ()
    still_open: str = ""


def _strobe(number: str, topic: str, asks: str, *met_by: str, still_open: str = "") -> ReportingItem:
    return ReportingItem(checklist=STROBE, number=number, topic=topic, asks=asks, met_by=met_by, still_open=still_open)


def _process(number: str, topic: str, asks: str, *met_by: str, still_open: str = "") -> ReportingItem:
    return ReportingItem(checklist=PROCESS, number=number, topic=topic, asks=asks, met_by=met_by, still_open=still_open)


STROBE_ITEMS = (
    _strobe("1a", "Title", "name the design in the title or the abstract"),
    _strobe("1b", "Abstract", "a summary in balance of what was done and found", "abstract"),
    _strobe("2", "Background", "why this was worth looking at, and what is known"),
    _strobe("3", "Objectives", "the aims, with any hypothesis set down beforehand"),
    _strobe("4", "Design", "the main features of the design, early on", "methods", still_open="prospective or not"),
    _strobe(
        "5",
        "Setting",
        "place, dates of recruitment, of follow-up and of data collection",
        "flow",
        "follow_up",
        still_open="the place",
    ),
    _strobe(
        "6a",
        "Participants",
        "who could enter, how they were found and how followed",
        "flow",
        still_open="whether cases were consecutive",
    ),
    _strobe("6b", "Matching", "if matched: on what, and how many of each", still_open="does not apply unless matched"),
    _strobe("7", "Variables", "every outcome, exposure and confounder defined", "definition"),
    _strobe(
        "8",
        "Measurement",
        "where each variable comes from and how it was measured, alike in all groups",
        "methods",
        still_open="who read the scans",
    ),
    _strobe("9", "Bias", "what was done about possible bias", still_open="instruments were chosen, not assigned"),
    _strobe("10", "Study size", "how the number of patients came about", "flow", still_open="why the series ends here"),
    _strobe("11", "Quantities", "how numbers were handled and grouped", "methods"),
    _strobe("12a", "Statistics", "every statistical method", "methods"),
    _strobe("12b", "Statistics: subgroups", "how subgroups were compared", "differences"),
    _strobe("12c", "Statistics: missing values", "what was done about missing values", "baseline"),
    _strobe("12d", "Statistics: loss", "what was done about loss to follow-up", "time", "ends"),
    _strobe("12e", "Statistics: sensitivity", "analyses under other assumptions", "sensitivity"),
    _strobe("13a", "Flow", "how many there were at each stage", "flow"),
    _strobe("13b", "Flow: reasons", "why some did not take part", "flow"),
    _strobe("13c", "Flow: diagram", "a flow diagram, if it helps", "flow"),
    _strobe("14a", "Descriptive data", "what the patients were like", "baseline"),
    _strobe("14b", "Descriptive data: missing", "how many have no value, for each variable", "baseline"),
    _strobe("14c", "Follow-up", "how long patients were followed", "follow_up"),
    _strobe("15", "Outcome data", "how many events, or a summary over time", "time", "events"),
    _strobe(
        "16a",
        "Main results",
        "estimates with their intervals; which confounders were adjusted for",
        "time",
        "sessions",
        "events",
        still_open="nothing is adjusted for",
    ),
    _strobe("16b", "Main results: cut points", "where a quantity was cut into groups", "baseline"),
    _strobe("16c", "Main results: absolute risk", "absolute risks beside relative ones", "time", "events"),
    _strobe("17", "Other analyses", "subgroups and sensitivity analyses that were made", "sensitivity", "differences"),
    _strobe("18", "Key results", "the main results, against the aims"),
    _strobe(
        "19",
        "Limitations",
        "where the study may be biased or imprecise, which way and how far",
        still_open="start from the cautions of this report",
    ),
    _strobe("20", "Interpretation", "a careful reading, with what others found"),
    _strobe("21", "Generalisability", "to whom the results may apply"),
    _strobe("22", "Funding", "who paid, and what their part was"),
)

PROCESS_ITEMS = (
    _process("1", "Title", 'the words "case series" and what it is about'),
    _process("2", "Keywords", 'three to six keywords, "case series" among them'),
    _process("3a", "Abstract: introduction", "background, reason and aim, in short"),
    _process(
        "3b",
        "Abstract: methods",
        "number of patients, time span and design",
        "abstract",
        still_open="prospective or not, one centre or several, consecutive or not",
    ),
    _process("3c", "Abstract: outcomes", "what became of the patients", "abstract"),
    _process("3d", "Abstract: conclusion", "what to take away"),
    _process("3e", "Abstract: form", "a structured abstract", "abstract"),
    _process("4", "Highlights", "the findings in three to five points"),
    _process("5", "Introduction", "background with the literature, theme and aims"),
    _process("6a", "Methods: registration", "the number under which the study is registered"),
    _process("", "Methods: ethics", "approval and consent, or why neither was needed"),
    _process(
        "",
        "Methods: design",
        "prospective or not, one centre or several, consecutive or not",
        "methods",
        still_open="all three",
    ),
    _process(
        "",
        "Methods: setting and dates",
        "where and when patients were treated and followed",
        "flow",
        still_open="the place",
    ),
    _process("", "Methods: participants", "who could enter, and why others could not", "flow"),
    _process("", "Methods: patients", "age, sex, disease and other illness at the start", "baseline"),
    _process("", "Methods: before the intervention", "what was done to make patients fit for it"),
    _process("", "Methods: intervention", "what was done and with what, and how often", "necrosectomies"),
    _process("", "Methods: operators", "who operated, with how much experience"),
    _process("", "Methods: quality control", "what kept the treatment the same from patient to patient"),
    _process("", "Methods: follow-up", "how long, how often and by what", "follow_up", "scan_schedule"),
    _process("", "Results: patients", "how many, and what they were like", "flow", "baseline"),
    _process("", "Results: deviations", "where treatment departed from what was planned"),
    _process("", "Results: outcomes", "outcomes as defined, at days named beforehand", "time", "ends"),
    _process("", "Results: complications", "adverse events, graded on a scale that is named", "events", "grades"),
    _process("", "Results: loss to follow-up", "how many were lost, and when", "ends", "follow_up"),
    _process("", "Discussion", "findings, the literature, strengths and limits"),
    _process("", "Conclusions", "what follows for practice and for research"),
    _process("", "Declarations", "interests, funding, and the patients' view where it was asked"),
)

REPORTING_ITEMS = (*STROBE_ITEMS, *PROCESS_ITEMS)
