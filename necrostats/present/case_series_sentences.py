"""What the results of a case series say, sentence by sentence, each number bound to the result it came from.

How much is said follows the numbers: no rate below 5 patients, counts with exact limits below 10, and no point of a
curve with fewer than 10 still at risk.
"""

from __future__ import annotations

from collections.abc import Iterator

from necrostats.measures.abstract import FEWEST_FOR_COUNTS, FEWEST_FOR_CURVES, FEWEST_FOR_MODELS, CaseSeries
from necrostats.present import numbers
from necrostats.present.bound import DEFINITION, Row, Sentence, bound, joined, quoted, row_where, rows_of, say
from necrostats.present.numbers import FEWEST_AT_RISK, FEWEST_FOR_A_RATE
from necrostats.present.say_curves import lost_before, reached
from necrostats.present.wording import EVERYONE, in_order, plain, plural
from necrostats.results import Curves, Result

NOTHING = Sentence(text="")
ANY = "any adverse event"
UNCHECKED, MOST_UNCHECKED = "sessions with no record that adverse events were looked for", 0.1
UNCHECKED_SAID = " with no record that events were looked for not counted"


def labelled(name: object, measure: str) -> Sentence:
    """The label of a group or level in plain words; numbers in it are a part of its name."""
    return quoted(plain(name), measure, "label")


def counted(value: int, noun: str, measure: str, column: str, key: tuple = ()) -> Sentence:
    """ "142 patients": a count that a result holds beside its table."""
    text = f"{numbers.count(value)} {plural(value, noun)}"
    return bound(text, measure, key, [(column, float(value), noun)])


def result_sentences(series: CaseSeries) -> dict[str, Sentence]:
    """The sentences of the results by topic, in the order in which an abstract gives them."""
    if not series.patients:
        return {"patients": say("No patient is on record, so there is nothing to report.")}
    said = {"flow": _set_aside(series), "patients": _patients(series)}
    if series.patients < FEWEST_FOR_COUNTS:
        said["cases"] = say(
            "With so few patients no rate is given: each is listed with the course, its day and the adverse events "
            "recorded."
        )
    else:
        said |= {
            "sessions": _sessions(series),
            "time": _time(series),
            "ends": _ends(series),
            "deaths": _deaths(series),
            "groups": _groups(series),
            "difference": _difference(series),
            "events": _events(series),
            "recurrence": _recurrence(series),
            "follow_up": _follow_up(series),
        }
    said |= {f"no {figure}": _lacking(figure, reason) for figure, reason in series.lacking.items()}
    said["small"] = _small(series)
    return {topic: sentence for topic, sentence in said.items() if sentence}


_FIGURES = {
    "resolution": "Sessions and time to resolution, and recurrence, are not reported",
    "events": "Adverse events are not reported",
}


def _lacking(figure: str, reason: str) -> Sentence:
    return say(f"{_FIGURES[figure]}: they need {reason}, not recorded here.")


def _small(series: CaseSeries) -> Sentence:
    if FEWEST_FOR_COUNTS <= series.patients < FEWEST_FOR_CURVES:
        return say("With so few patients only counts and exact intervals are given: no curve, no model, no comparison.")
    if FEWEST_FOR_CURVES <= series.patients < FEWEST_FOR_MODELS:
        return say("The series is small: the curves are uncertain, and no groups were compared by a model.")
    return NOTHING


def _set_aside(series: CaseSeries) -> Sentence:
    """How many rows were set aside before anything was counted; why stands in the table of who was included."""
    rows = rows_of("flow", series.results["flow"])
    whole, included = row_where(rows, stage="In the source"), row_where(rows, stage="Included")
    if not whole:
        return NOTHING
    return say(
        "Of ",
        whole.count("number", "rows"),
        " rows about patients in the source ",
        included.count("number", "rows"),
        " were included.",
    )


def _patients(series: CaseSeries) -> Sentence:
    about = (_median_age(series), _level(series, "sex", "female"), _level(series, "infection", "confirmed"))
    known = [part for part in about if part]
    brackets = [" (", joined(known, "; ", "; "), ")"] if known else []
    opening = "The " if series.patients > 1 else ""
    whole = counted(series.patients, "patients", "flow", "population.patients")
    return say(opening, whole, *brackets, *_held(series), ".")


def _held(series: CaseSeries) -> list[str | Sentence]:
    done = series.results.get("necrosectomies")
    if done is None:
        return [" had an index drainage"]
    held = done.population.sessions
    text = f"{numbers.count(held)} {'necrosectomy' if held == 1 else 'necrosectomies'}"
    column = ("population.sessions", float(held), "necrosectomies")
    least = "at least " if any(note.code == "MISSING" for note in done.notes) else ""
    return [f" had {least}", bound(text, "necrosectomies", (), [column])]


def _overall(series: CaseSeries, variable: str) -> list[Row]:
    result = series.results.get("baseline")
    return [row for row in rows_of("baseline", result) if row.variable == variable] if result else []


def _median_age(series: CaseSeries) -> Sentence:
    row = next(iter(_overall(series, "age, years")), None)
    if row is None or row.n < FEWEST_FOR_A_RATE:
        return NOTHING
    middle = row.bind(numbers.plain_number(row.estimate), ("estimate", "years"))
    text = numbers.joined(numbers.plain_number(row.low), numbers.plain_number(row.high))
    ends = row.bind(text, ("low", "years"), ("high", "years"))
    return say("median age ", middle, " years, quartiles ", ends)


_SPOKEN = {"female": "female", "confirmed": "with confirmed infection"}


def _level(series: CaseSeries, variable: str, level: str) -> Sentence:
    row = row_where(_overall(series, variable), level=level)
    if row is None or not row.n:
        return NOTHING
    return say(row.count("events", "patients"), " of ", row.count("n", "patients"), f" {_SPOKEN[level]}")


def share(row: Row, noun: str, *, named: bool = False) -> Sentence:
    """ "50 of 141 patients (35 %, 95 % CI 28–44 %)"; below 5 the count alone; without a noun "50 of 141 (…)"."""
    unit = noun or "patients"
    seen = say(row.count("events", unit), " of ", row.count("n", unit), f" {plural(row.n, noun)}" if noun else "")
    if row.n < FEWEST_FOR_A_RATE:
        return seen
    return say(seen, " (", row.percent(row.n), ", ", row.percent_limits(row.n, named=named), ")")


def at_start(result: Curves, group: object) -> Row | None:
    """The row in which the most of a group are at risk."""
    name = "time" if result.axis == "days" else "sessions"
    rows = [row for row in rows_of(name, result) if row.group == group and numbers.known(row.at_risk)]
    return max(rows, key=lambda row: row.at_risk, default=None)


def landmark_rows(series: CaseSeries, measure: str, at: int, group: object = EVERYONE) -> list[Row]:
    """The rows of a curve at a point named in advance; none where fewer than 10 are still at risk there."""
    result = series.results.get(measure)
    if result is None:
        return []
    rows = [row for row in rows_of(measure, result) if row.group == group and row.cells[result.axis] == at]
    return rows if rows and rows[0].at_risk >= FEWEST_AT_RISK and _n_at_start(result, group) else []


def _n_at_start(result: Curves, group: object) -> int:
    here = result.frame[result.frame["group"] == group]["at_risk"]
    return int(here.max()) if here.notna().any() else 0


def _of_patients(series: CaseSeries, measure: str, row: Row, verb: str, *, named: bool = True) -> Sentence:
    """ "67 % of 138 patients (95 % CI 58–74 %) had documented resolution"; once somebody was lost to follow-up
    "an estimated 67 % (95 % CI 58–74 %; n = 138)".
    """
    result, key = series.results[measure], (("group", str(row.group)),)
    n = _n_at_start(result, row.group)
    limits = row.percent_limits(n, named=named)
    here = result.frame[result.frame["group"] == row.group]
    number = [("at_risk", float(n), "patients")]
    if lost_before(result, here, row.cells[result.axis]):
        whole = bound(numbers.count(n), measure, key, number)
        return say("an estimated ", row.percent(n), " (", limits, "; n = ", whole, f"){_verbal(verb)}")
    whole = bound(f"{numbers.count(n)} {plural(n, 'patients')}", measure, key, number)
    return say(row.percent(n), " of ", whole, " (", limits, f"){_verbal(verb)}")


def _verbal(verb: str) -> str:
    return f" {verb}" if verb else ""


def _median(series: CaseSeries, measure: str, unit: str) -> Sentence:
    """The median with its limits, where at least 10 were still at risk when it was reached."""
    result = series.results[measure]
    rows = [row for row in rows_of(f"{measure}.medians", result, result.medians) if row.cause == "resolved"]
    row = row_where(rows, group=EVERYONE)
    if row is None:
        return NOTHING
    if not numbers.known(row.estimate):
        return say("; the median was not reached")
    before = result.frame[result.frame[result.axis] <= row.estimate]["at_risk"]
    if before.empty or before.min() < FEWEST_AT_RISK:
        return NOTHING
    return say("; median ", row.reached(plural(row.estimate, unit)))


def _point(value: int, measure: str, noun: str) -> Sentence:
    text = numbers.count(value)
    return bound(text, measure, (), [("landmark", float(value), noun)])


def _sessions(series: CaseSeries) -> Sentence:
    main = row_where(landmark_rows(series, "sessions", series.session), cause="resolved")
    if main is None:
        return _counted_necrosectomies(series)
    noun = "necrosectomy" if series.session == 1 else "necrosectomies"
    opening = say("Within ", _point(series.session, "sessions", "necrosectomies"), f" {noun} ")
    said = _of_patients(series, "sessions", main, reached("resolved"))
    return say(opening, said, _median(series, "sessions", "necrosectomies"), ".")


def _counted_necrosectomies(series: CaseSeries) -> Sentence:
    """How many patients had how many, where no point of the curve may be quoted."""
    rows = [row for row in rows_of("necrosectomies", series.results["necrosectomies"]) if row.events]
    each = [
        say(
            quoted(plain(row.level).removeprefix("with "), "necrosectomies", "label", row.key),
            " in ",
            row.count("events", "patients"),
        )
        for row in rows
    ]
    return say("Patients by number of necrosectomies: ", joined(each), ".") if len(each) > 1 else NOTHING


def _time(series: CaseSeries) -> Sentence:
    rows = landmark_rows(series, "time", series.day)
    main = row_where(rows, cause="resolved")
    if main is None:
        return NOTHING
    n = _n_at_start(series.results["time"], EVERYONE)
    others = [
        say(row.percent(n), " (", row.percent_limits(n), ") ", _verb(row.cause))
        for row in rows
        if row.cause != "resolved"
    ]
    opening = say("By day ", _point(series.day, "time", "days"), " of index drainage ")
    said = _of_patients(series, "time", main, reached("resolved"))
    return say(opening, joined([said, *others]), _median(series, "time", "days"), ".")


def _ends(series: CaseSeries) -> Sentence:
    """Counts on the horizon day, where no point of the curve may be quoted."""
    result = series.results.get("ends")
    if result is None or landmark_rows(series, "time", series.day):
        return NOTHING
    return ends_sentence(series)


def ends_sentence(series: CaseSeries) -> Sentence:
    """How many had each end by the horizon day, over those whose end is known."""
    rows = rows_of("ends", series.results["ends"])
    first = next(iter(rows), None)
    day = _point(series.definition.horizon_days, "ends", "days")
    if first is None or not first.n:
        return say("No patient has been observed to day ", day, " with an end that is known, so none is counted.")
    seen = [say(*_end(row, place)) for place, row in enumerate(rows) if row.events or row.variable == "resolved"]
    return say(
        "Of ",
        first.count("n", "patients"),
        f" {plural(first.n, 'patients')} whose course by day ",
        day,
        " is known ",
        joined(seen),
        _median(series, "time", "days") if "time" in series.results else NOTHING,
        ".",
    )


def _end(row: Row, place: int) -> Iterator[str | Sentence]:
    yield row.count("events", "patients")
    if row.n >= FEWEST_FOR_A_RATE:
        yield from (" (", row.percent(row.n), ", ", row.percent_limits(row.n, named=not place), ")")
    yield " "
    yield _verb(row.variable)


def _verb(end: object) -> Sentence:
    return quoted(reached(end), "ends", "label")


def _groups(series: CaseSeries) -> Sentence:
    """Resolution by group: from the curve where it may be quoted in every group, else as counts."""
    if not series.by or "ends_by_group" not in series.results:
        return NOTHING
    groups = in_order(series.results["ends_by_group"].frame["group"])
    curves = [
        row_where(landmark_rows(series, "time_by_group", series.day, group), cause="resolved") for group in groups
    ]
    about = say("By ", plain(series.by), ", ")
    if groups and all(curves):
        each = [_group_share(series, row, place) for place, row in enumerate(curves)]
        opening = say("documented resolution by day ", _point(series.day, "time_by_group", "days"), ": ")
        return say(about, opening, joined(each, "; ", "; "), ".")
    rows = [
        row for row in rows_of("ends_by_group", series.results["ends_by_group"]) if row.variable == "resolved" and row.n
    ]
    each = [
        say(labelled(row.group, "ends_by_group"), ": ", share(row, "" if place else "patients", named=not place))
        for place, row in enumerate(rows)
    ]
    day = _point(series.definition.horizon_days, "ends_by_group", "days")
    opening = say("resolved by day ", day, " of those whose course is known: ")
    return say(about, opening, joined(each, "; ", "; "), ".") if each else NOTHING


def _group_share(series: CaseSeries, row: Row, place: int) -> Sentence:
    return say(
        labelled(row.group, "time_by_group"), ": ", _of_patients(series, "time_by_group", row, "", named=not place)
    )


def _difference(series: CaseSeries) -> Sentence:
    """How far each group lies from the reference, where the incidence may be quoted in every group."""
    result = series.results.get("differences")
    if result is None or not _quotable_in_all(series):
        return NOTHING
    rows = [row for row in rows_of("differences", result) if row.cells["measure"].startswith("difference in incidence")]
    known = [row for row in rows if numbers.known(row.estimate) and numbers.known(row.low)]
    each = [say(_points(row, place), *_against(row)) for place, row in enumerate(known)]
    opening = say("The difference by day ", _point(series.day, "differences", "days"), " was ")
    return say(opening, joined(each), "; groups were not assigned.") if each else NOTHING


def _against(row: Row) -> tuple[str | Sentence, ...]:
    return (" for ", labelled(row.group, "differences"), " against ", labelled(row.reference, "differences"))


def _quotable_in_all(series: CaseSeries) -> bool:
    groups = in_order(series.results["time_by_group"].frame["group"])
    return all(landmark_rows(series, "time_by_group", series.day, group) for group in groups)


def _points(row: Row, place: int) -> Sentence:
    """A difference of shares in percentage points with its limits."""
    middle, low, high = (numbers.rounded(100 * row.cells[name], 1) for name in ("estimate", "low", "high"))
    unit = "percentage points"
    limits = row.bind(numbers.joined(low, high), ("low", unit), ("high", unit))
    named = [row.bind(numbers.level_name(row.confidence), ("method.level", "%")), " CI "] if not place else []
    return say(row.bind(middle, ("estimate", unit)), f" {unit} (", *named, limits, ")")


def _deaths(series: CaseSeries) -> Sentence:
    row = next(iter(rows_of("deaths", series.results["deaths"])), None)
    return say("In all, ", share(row, "patients", named=True), " died while followed.") if row else NOTHING


def _events(series: CaseSeries) -> Sentence:
    result = series.results.get("events")
    if result is None:
        return NOTHING
    rows = rows_of("events", result)
    by_patient = row_where(rows, variable=ANY, unit="patients")
    by_session = row_where(rows, variable=ANY, unit="sessions")
    if by_patient is None or not by_patient.n:
        return NOTHING
    opening = say("At least one adverse event ", _window(series), " was seen in ")
    parts = [say(opening, share(by_patient, "patients", named=True))]
    if by_session is not None and by_session.n:
        were = "was" if by_session.events == 1 else "were"
        parts.append(say(_sessions_share(series, by_session), f" {were} followed by one"))
    return say(joined(parts, ", ", ", and "), *_commonest(rows), *_not_looked_for(series), ".")


def _not_looked_for(series: CaseSeries) -> tuple[str | Sentence, ...]:
    """How many sessions nobody looked at for events, where they are more than a few."""
    counts = series.results["events"].population
    unchecked = {why: each for why, each in counts.left_out.items() if why.startswith(UNCHECKED)}
    for reason, left in unchecked.items():
        if left > MOST_UNCHECKED * (left + (counts.sessions or 0)):
            key = (("left out", reason),)
            return ("; ", counted(left, "sessions", "events", "population.left_out", key), UNCHECKED_SAID)
    return ()


def _window(series: CaseSeries) -> Sentence:
    return quoted(series.window.sentence(), DEFINITION, "window")


def _sessions_share(series: CaseSeries, row: Row) -> Sentence:
    """Sessions with an event of all sessions; with limits only from 10 patients on, since sessions are clustered."""
    seen = say(row.count("events", "sessions"), " of ", row.count("n", "sessions"), f" {plural(row.n, 'sessions')}")
    if series.patients < FEWEST_FOR_CURVES or row.n < FEWEST_FOR_A_RATE:
        return seen
    return say(seen, " (", row.percent(row.n), ", ", row.percent_limits(row.n), ")")


def _commonest(rows: list[Row]) -> tuple[str | Sentence, ...]:
    kinds = [row for row in rows if row.variable != ANY and row.unit == "patients" and row.events > 1]
    if not kinds:
        return ()
    most = max(kinds, key=lambda row: row.events)
    alike = [row for row in kinds if row.events == most.events]
    if len(alike) > 2:
        return ()
    kind = joined([labelled(row.variable, "events") for row in alike])
    each = " each" if len(alike) > 1 else ""
    opening = "; the most frequent was " if len(alike) == 1 else "; the most frequent were "
    whose = f" {plural(most.events, 'patients')}{each})"
    return (opening, kind, " (", most.count("events", "patients"), whose)


def _recurrence(series: CaseSeries) -> Sentence:
    result: Result | None = series.results.get("recurrence")
    if result is None:
        return NOTHING
    row = row_where(landmark_rows(series, "recurrence", 90), cause="recurrence")
    if row is None:
        return say("Recurrence is not quoted: too few resolved patients were still followed at the day named for it.")
    opening = say("Within ", _point(90, "recurrence", "days"), " days of resolution ")
    return say(opening, _of_patients(series, "recurrence", row, "had a recurrence"), ".")


def _follow_up(series: CaseSeries) -> Sentence:
    row = next(iter(rows_of("follow_up", series.results["follow_up"])), None)
    if row is None or not numbers.known(row.estimate) or series.patients < FEWEST_FOR_CURVES:
        return NOTHING
    return say("Median follow-up was ", row.reached("days", named=True), ".")
