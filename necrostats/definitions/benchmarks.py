"""Published series and trials of walled-off and necrotizing pancreatitis, as context for a unit's own figures.

Every value says whether it was read in an abstract or summary, or comes from memory; one that is not firmly known is
left out. Citations come from memory too: check the paper before quoting any of it. Never a pass mark, never a rank.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from necrostats.definitions.adverse_events import THIRTY_DAYS, EventWindow
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, HALF_OF_BASELINE, TWENTY_MM, ResolutionDefinition

READ, MEMORY = "read", "from memory"
DEATH, RESOLVED, OTHER = "death", "resolution", "other"


@dataclass(frozen=True)
class Stated:
    """A value as it was stated, and whether it was read or comes from memory."""

    value: int | str
    provenance: str = MEMORY


@dataclass(frozen=True, kw_only=True)
class PublishedFigure:
    """What happened to `events` of `n`, or to `percent` where only that is known; `defined` says how, in words.

    `kind` is DEATH, with `days` from day 0; RESOLVED, with the nearest `definition`; an adverse event type or "any
    adverse event", with the nearest `window`; or OTHER. `lacking` says why it cannot be recomputed here.
    """

    what: str
    kind: str
    events: int | None = None
    n: int | None = None
    percent: float | None = None
    unit: str = "patients"
    defined: str = ""
    days: int | None = None
    definition: ResolutionDefinition | None = None
    window: EventWindow | None = None
    lacking: str = ""
    provenance: str = MEMORY


@dataclass(frozen=True, kw_only=True)
class Benchmark:
    """A series or trial: who was treated, how it was counted, and its figures. `arm` is the one whose figures stand."""

    name: str
    year: int
    design: Stated
    n: Stated
    citation: str
    arm: str = ""
    period: Stated | None = None
    sessions: Stated | None = None
    follow_up: Stated | None = None
    figures: tuple[PublishedFigure, ...] = ()


def _death(events: int, n: int, days: int, **more) -> PublishedFigure:
    defined = f"{days} days, counted here from the index drainage"
    return PublishedFigure(what="death", kind=DEATH, events=events, n=n, days=days, defined=defined, **more)


def _death_sometime(events: int | None, n: int | None, defined: str, **more) -> PublishedFigure:
    lacking = "its window is not a number of days"
    return PublishedFigure(what="death", kind=DEATH, events=events, n=n, defined=defined, lacking=lacking, **more)


def _success(events: int | None, n: int | None, defined: str, **more) -> PublishedFigure:
    lacking = "" if more.get("definition") else "the size or the day at which success was counted is not known"
    return PublishedFigure(
        what="clinical success", kind=RESOLVED, events=events, n=n, defined=defined, lacking=lacking, **more
    )


def _any_event(events: int | None, n: int | None, **more) -> PublishedFigure:
    return PublishedFigure(
        what="any adverse event",
        kind="any adverse event",
        events=events,
        n=n,
        defined="during treatment; nearest: up to 30 days after a session",
        window=THIRTY_DAYS,
        **more,
    )


def _other(what: str, events: int, n: int, defined: str, lacking: str, **more) -> PublishedFigure:
    return PublishedFigure(what=what, kind=OTHER, events=events, n=n, defined=defined, lacking=lacking, **more)


_SESSIONS_ONLY = PublishedFigure(
    what="sessions",
    kind=OTHER,
    defined="see the column of sessions",
    lacking="a middle number of sessions and no share; necrosectomies_a_patient gives ours",
)
_ORGANS = "new organ failure is not recorded"
_FISTULA = "external fistula at six months is not told from other fistulas"
_RELATED = "it counts events put down to the stent alone"
_SIX_MONTHS = Stated("6 months")
_COLLECTION_GONE = "resolution of the collection and of symptoms"

BENCHMARKS: tuple[Benchmark, ...] = (
    Benchmark(
        name="Papachristou 2007",
        year=2007,
        design=Stated("retrospective, one centre"),
        n=Stated(53),
        sessions=Stated("median 3 (range 1 to 12)"),
        citation="Papachristou GI et al., Ann Surg 2007;245:943",
        figures=(_success(43, 53, _COLLECTION_GONE),),
    ),
    Benchmark(
        name="Gardner 2009",
        year=2009,
        design=Stated("retrospective, two techniques"),
        n=Stated(25, READ),
        arm="direct necrosectomy",
        citation="Gardner TB et al., Gastrointest Endosc 2009;69:1085",
        figures=(_success(22, 25, "successful resolution", provenance=READ),),
    ),
    Benchmark(
        name="Seifert 2009",
        year=2009,
        design=Stated("retrospective, several centres"),
        n=Stated(93),
        follow_up=Stated("mean 43 months"),
        citation="Seifert H et al., Gut 2009;58:1260",
        figures=(
            _success(None, None, "initial success", percent=80.0),
            _any_event(None, None, percent=26.0),
            _death(7, 93, 30),
        ),
    ),
    Benchmark(
        name="van Santvoort 2010",
        year=2010,
        design=Stated("randomised, several centres"),
        n=Stated(43, READ),
        arm="step-up",
        citation="van Santvoort HC et al., N Engl J Med 2010;362:1491",
        figures=(
            _other("major complication or death", 17, 43, "to 3 months after discharge", _ORGANS, provenance=READ),
            _death_sometime(8, 43, "to 3 months after discharge"),
        ),
    ),
    Benchmark(
        name="Gardner 2011",
        year=2011,
        design=Stated("retrospective, several centres"),
        n=Stated(104, READ),
        citation="Gardner TB et al., Gastrointest Endosc 2011;73:718",
        figures=(_success(95, 104, "successful resolution", provenance=READ),),
    ),
    Benchmark(
        name="van Santvoort 2011",
        year=2011,
        design=Stated("prospective cohort, several centres, all treatments"),
        n=Stated(639),
        citation="van Santvoort HC et al., Gastroenterology 2011;141:1254",
        figures=(_death_sometime(None, None, "window not recalled", percent=15.0),),
    ),
    Benchmark(
        name="Varadarajulu 2011",
        year=2011,
        design=Stated("retrospective, two techniques"),
        n=Stated(12),
        arm="several transluminal gateways",
        citation="Varadarajulu S et al., Gastrointest Endosc 2011;74:74",
        figures=(_success(11, 12, "treatment success"),),
    ),
    Benchmark(
        name="Bakker 2012",
        year=2012,
        design=Stated("randomised, several centres"),
        n=Stated(10, READ),
        arm="endoscopic",
        follow_up=_SIX_MONTHS,
        citation="Bakker OJ et al., JAMA 2012;307:1053",
        figures=(
            _other("major complication or death", 2, 10, "to 6 months", _ORGANS, provenance=READ),
            _other("new multiple organ failure", 0, 10, "to 6 months", _ORGANS, provenance=READ),
            _other("pancreatic fistula", 1, 10, "to 6 months", _FISTULA, provenance=READ),
            _death(1, 10, 180),
        ),
    ),
    Benchmark(
        name="Yasuda 2013",
        year=2013,
        design=Stated("retrospective, several centres"),
        n=Stated(57, READ),
        sessions=Stated("median 5 (range 1 to 20)"),
        citation="Yasuda I et al., Endoscopy 2013;45:627",
        figures=(
            _success(43, 57, "successful treatment"),
            _any_event(19, 57, provenance=READ),
            _death_sometime(6, 57, "during treatment"),
        ),
    ),
    Benchmark(
        name="Kumar 2014",
        year=2014,
        design=Stated("matched cohort"),
        n=Stated(12),
        arm="direct necrosectomy",
        citation="Kumar N et al., Pancreas 2014;43:1334",
        figures=(_success(11, 12, "clinical resolution"),),
    ),
    Benchmark(
        name="Puli 2014",
        year=2014,
        design=Stated("meta-analysis of series"),
        n=Stated(233),
        sessions=Stated("pooled mean 4.1"),
        citation="Puli SR et al., Can J Gastroenterol Hepatol 2014;28:50",
        figures=(_success(None, None, "as each series counted it, pooled", percent=82.0),),
    ),
    Benchmark(
        name="Ross 2014",
        year=2014,
        design=Stated("cohort, endoscopic and percutaneous drainage together"),
        n=Stated(117),
        citation="Ross AS et al., Gastrointest Endosc 2014;79:929",
        figures=(_death_sometime(4, 117, "related to the disease"),),
    ),
    Benchmark(
        name="van Brunschot 2014",
        year=2014,
        design=Stated("systematic review of series"),
        n=Stated(460, READ),
        sessions=Stated("mean 4"),
        citation="van Brunschot S et al., Surg Endosc 2014;28:1425",
        figures=(
            _success(None, None, "by endoscopy alone, as each series counted it", percent=81.0),
            _any_event(None, None, percent=36.0),
            _death_sometime(28, 460, "as each series counted it", provenance=READ),
        ),
    ),
    Benchmark(
        name="Mukai 2015",
        year=2015,
        design=Stated("retrospective, two kinds of stent"),
        n=Stated(43),
        arm="wide metal stent",
        citation="Mukai S et al., Endoscopy 2015;47:47",
        figures=(_success(42, 43, "clinical success"),),
    ),
    Benchmark(
        name="Rinninella 2015",
        year=2015,
        design=Stated("retrospective, several centres"),
        n=Stated(52),
        arm="walled-off necrosis, lumen-apposing metal stent",
        citation="Rinninella E et al., Gastrointest Endosc 2015;82:1039",
        figures=(_success(47, 52, "clinical success"),),
    ),
    Benchmark(
        name="Shah 2015",
        year=2015,
        design=Stated("prospective, several centres, all drained collections"),
        n=Stated(33),
        arm="lumen-apposing metal stent",
        citation="Shah RJ et al., Clin Gastroenterol Hepatol 2015;13:747",
        figures=(
            _success(
                27,
                29,
                "size at least halved; nearest: half of baseline on a scan, within 180 days",
                definition=HALF_OF_BASELINE,
            ),
        ),
    ),
    Benchmark(
        name="Walter 2015",
        year=2015,
        design=Stated("prospective, several centres"),
        n=Stated(46),
        arm="walled-off necrosis, lumen-apposing metal stent",
        citation="Walter D et al., Endoscopy 2015;47:63",
        figures=(
            _success(
                None,
                None,
                "below 2 cm and free of symptoms; nearest: at most 20 mm within 180 days",
                percent=81.0,
                definition=TWENTY_MM,
            ),
        ),
    ),
    Benchmark(
        name="Sharaiha 2016",
        year=2016,
        design=Stated("retrospective, several centres"),
        n=Stated(124),
        sessions=Stated("median 2"),
        citation="Sharaiha RZ et al., Clin Gastroenterol Hepatol 2016;14:1797",
        figures=(
            _success(
                107,
                124,
                "resolution at 3 months; nearest: at most 30 mm and free of symptoms within 90 days",
                definition=replace(DOCUMENTED_RESOLUTION, name="30 mm, within 90 days", horizon_days=90),
            ),
        ),
    ),
    Benchmark(
        name="Siddiqui 2016",
        year=2016,
        design=Stated("retrospective, several centres"),
        n=Stated(68),
        arm="walled-off necrosis, lumen-apposing metal stent",
        citation="Siddiqui AA et al., Gastrointest Endosc 2016;83:699",
        figures=(_success(60, 68, "resolution of the collection"),),
    ),
    Benchmark(
        name="Thompson 2016",
        year=2016,
        design=Stated("one centre, standardised protocol"),
        n=Stated(60),
        sessions=Stated("mean 1.6"),
        citation="Thompson CC et al., Pancreatology 2016;16:66",
        figures=(_SESSIONS_ONLY,),
    ),
    Benchmark(
        name="Bang 2017",
        year=2017,
        design=Stated("interim audit of a randomised trial"),
        n=Stated(12),
        arm="lumen-apposing metal stent",
        citation="Bang JY et al., Gut 2017;66:2054",
        figures=(_other("stent-related adverse event", 6, 12, "until the stent was out", _RELATED),),
    ),
    Benchmark(
        name="Bapaye 2017",
        year=2017,
        design=Stated("retrospective, two kinds of stent"),
        n=Stated(72),
        arm="wide metal stent",
        citation="Bapaye A et al., Dig Endosc 2017;29:104",
        figures=(_success(None, None, "clinical success", percent=94.0),),
    ),
    Benchmark(
        name="Lakhtakia 2017",
        year=2017,
        design=Stated("retrospective, step-up"),
        n=Stated(205),
        citation="Lakhtakia S et al., Gastrointest Endosc 2017;85:1243",
        figures=(_success(198, 205, "clinical success after all steps"),),
    ),
    Benchmark(
        name="Siddiqui 2017",
        year=2017,
        design=Stated("retrospective, three kinds of stent"),
        n=Stated(86),
        arm="lumen-apposing metal stent",
        sessions=Stated("mean 2.2"),
        follow_up=_SIX_MONTHS,
        citation="Siddiqui AA et al., Gastrointest Endosc 2017;85:758",
        figures=(_success(None, None, "complete resolution at 6 months", percent=90.0),),
    ),
    Benchmark(
        name="Trikudanathan 2018",
        year=2018,
        design=Stated("cohort, early and standard timing"),
        n=Stated(76),
        arm="drained before 4 weeks",
        citation="Trikudanathan G et al., Am J Gastroenterol 2018;113:1550",
        figures=(_death_sometime(None, None, "window not recalled", percent=13.0),),
    ),
    Benchmark(
        name="van Brunschot 2018",
        year=2018,
        design=Stated("randomised, several centres"),
        n=Stated(51),
        arm="endoscopic step-up",
        period=Stated("2011 to 2015"),
        follow_up=_SIX_MONTHS,
        citation="van Brunschot S et al., Lancet 2018;391:51",
        figures=(
            _other("major complication or death", 22, 51, "to 6 months", _ORGANS),
            _other("pancreatic fistula", 2, 42, "to 6 months, among survivors", _FISTULA),
            _death(9, 51, 180),
        ),
    ),
    Benchmark(
        name="Bang 2019 (randomised, step-up)",
        year=2019,
        design=Stated("randomised, one centre"),
        n=Stated(34, READ),
        arm="endoscopic step-up",
        period=Stated("2014 to 2017"),
        follow_up=_SIX_MONTHS,
        citation="Bang JY et al., Gastroenterology 2019;156:1027",
        figures=(
            _other("major complication or death", 4, 34, "to 6 months", _ORGANS, provenance=READ),
            _death(3, 34, 180, provenance=READ),
        ),
    ),
    Benchmark(
        name="Bang 2019 (randomised, stents)",
        year=2019,
        design=Stated("randomised, one centre"),
        n=Stated(31),
        arm="lumen-apposing metal stent",
        sessions=Stated("median 2 (range 2 to 7), all procedures"),
        citation="Bang JY et al., Gut 2019;68:1200",
        figures=(
            _success(29, 31, "treatment success"),
            _other("stent-related adverse event", 10, 31, "until the stent was out", _RELATED),
        ),
    ),
    Benchmark(
        name="Hollemans 2019",
        year=2019,
        design=Stated("long-term follow-up of a randomised trial"),
        n=Stated(43),
        arm="step-up",
        follow_up=Stated("mean 86 months"),
        citation="Hollemans RA et al., Gastroenterology 2019;156:1016",
        figures=(_other("major complication or death", 19, 43, "whole follow-up", _ORGANS),),
    ),
    Benchmark(
        name="Parsa 2020",
        year=2020,
        design=Stated("retrospective, two widths of stent"),
        n=Stated(102),
        arm="lumen-apposing metal stent, 20 mm wide",
        citation="Parsa N et al., Endoscopy 2020;52:211",
        figures=(_success(None, None, "clinical success", percent=92.2),),
    ),
    Benchmark(
        name="Boxhoorn 2021 (immediate)",
        year=2021,
        design=Stated("randomised, several centres"),
        n=Stated(55, READ),
        arm="immediate drainage",
        follow_up=_SIX_MONTHS,
        citation="Boxhoorn L et al., N Engl J Med 2021;385:1372",
        figures=(_death(7, 55, 180, provenance=READ),),
    ),
    Benchmark(
        name="Boxhoorn 2021 (postponed)",
        year=2021,
        design=Stated("randomised, several centres"),
        n=Stated(49, READ),
        arm="postponed drainage",
        follow_up=_SIX_MONTHS,
        citation="Boxhoorn L et al., N Engl J Med 2021;385:1372",
        figures=(_death(5, 49, 180, provenance=READ),),
    ),
    Benchmark(
        name="Onnekink 2022",
        year=2022,
        design=Stated("long-term follow-up of a randomised trial"),
        n=Stated(51, READ),
        arm="endoscopic step-up",
        follow_up=Stated("mean 7 years"),
        citation="Onnekink AM et al., Gastroenterology 2022;163:712",
        figures=(_other("major complication or death", 27, 51, "whole follow-up", _ORGANS, provenance=READ),),
    ),
    Benchmark(
        name="Stassen 2022",
        year=2022,
        design=Stated("prospective, several centres, powered debridement"),
        n=Stated(30, READ),
        citation="Stassen PMC et al., Gastrointest Endosc 2022;95:471",
        figures=(
            _other(
                "cleared in one session",
                15,
                30,
                "necrosis cleared after one debridement",
                "when a cavity was clear is not recorded by session",
                provenance=READ,
            ),
        ),
    ),
    Benchmark(
        name="Bang 2024",
        year=2024,
        design=Stated("randomised, several centres"),
        n=Stated(37),
        arm="necrosectomy at the first session",
        period=Stated("2019 to 2022"),
        sessions=Stated("median 1 further intervention (quartiles 0 to 1)"),
        follow_up=_SIX_MONTHS,
        citation="Bang JY et al., Lancet Gastroenterol Hepatol 2024;9:22",
        figures=(_SESSIONS_ONLY,),
    ),
)
