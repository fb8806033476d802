"""Yields by class of instrument: sentences a buyer understands, tables by class, and a forest of the three models."""

from __future__ import annotations

import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.present import contrasts, numbers
from necrostats.present.amount_drawing import amounts_figure
from necrostats.present.drawing import from_zero, logarithmic
from necrostats.present.figures import Figure, chart
from necrostats.present.forest import Mark, Panel, Row
from necrostats.present.numbers import FEWEST_SESSIONS_FOR_A_MEAN
from necrostats.present.rates import figure_of
from necrostats.present.style import style_at
from necrostats.present.tables import Table, table
from necrostats.present.wording import ended, findings, in_order, listed, plain, plural, sentence_case, table_caption
from necrostats.results import Answer, Overlap, Specifications, Statements, YieldComparison

CAUTION = (
    "Instruments were chosen for the case in hand and not assigned, and more tissue removed has not been shown to be "
    "better for patients."
)
IN_WORDS = "odds ratio of a larger amount in words"
RATIOS, AMOUNTS, RECORD = "ratios", "amounts", "record"
LIMITS = ["estimate", "low", "high"]


def _kind(measure: object) -> str:
    """The model of a measure: "ratio of geometric means, adjusted" → "adjusted"."""
    return plain(measure).rpartition(", ")[2] if ", " in plain(measure) else plain(measure)


def _ratios(frame: pd.DataFrame) -> pd.DataFrame:
    is_ratio = [str(each).startswith("ratio") for each in frame["measure"]]
    return frame[pd.Series(is_ratio, index=frame.index, dtype=bool)]


def _rests_on(row) -> str:
    return f"{numbers.count(row.sessions) or '0'} v {numbers.count(row.sessions_ref) or '0'}"


def _ratio(row, level: float) -> str:
    if not numbers.known(row.estimate):
        return f"{_kind(row.measure)} not estimated"
    said, exchanged = contrasts.spoken(row, level).removesuffix(")"), getattr(row, "permutation_p", None)
    test = f"; permutation {numbers.p_value(exchanged)}" if numbers.known(exchanged) else ""
    return f"{_kind(row.measure)} {said}{test}; {_rests_on(row)} sessions)"


def _in_words(frame: pd.DataFrame, level: float) -> list[str]:
    """What yields written as words alone say, each contrast a sentence."""
    rows = frame[frame["measure"].astype(object) == IN_WORDS]
    return [
        f"In sessions with a yield in words only, {contrasts.pair(row)}, {IN_WORDS}: {contrasts.spoken(row, level)}, "
        f"{_rests_on(row)} sessions; the sessions were not made alike in anything."
        for row in rows.itertuples()
    ]


@findings.register(YieldComparison)
def _(result: YieldComparison, **options) -> tuple[str, ...]:
    """The primary contrast by all three models, then the adjusted ratio of every other class."""
    level, ratios = result.method.level, _ratios(result.frame)
    words = _in_words(result.frame, level)
    if ratios.empty:
        return (_no_answer(result), *words)
    said = []
    for variable in dict.fromkeys(ratios["variable"]):
        here = ratios[ratios["variable"] == variable]
        first = here[here["primary"]]
        name = sentence_case(plain(variable))
        if len(first):
            each = ", ".join(_ratio(row, level) for row in first.itertuples())
            said.append(f"{name}, {contrasts.pair(next(first.itertuples()))}, ratio: {each}.")
        rest = here[~here["primary"] & (here["measure"].astype(object).map(_kind) == "adjusted")]
        others = "; ".join(f"{plain(row.group)} {contrasts.text(row)}" for row in rest.itertuples())
        said += [f"{name}, adjusted ratio against {plain(result.reference)}: {others}."] * bool(others)
        said += [each for row in first.itertuples() for each in _unmeasured(row)]
    return (*said, *words)


def _no_answer(result: YieldComparison) -> str:
    why = [note.text for note in result.notes if note.code == "NO_OVERLAP"]
    return " ".join(["These data cannot tell which class of instrument removes more.", *why[:1]])


@findings.register(Answer)
def _(result: Answer, **options) -> tuple[str, ...]:
    """One plain paragraph: how much, how sure, whichever way it is credited, can the data tell, the caution."""
    ratios = _ratios(result.frame)
    known = ratios[ratios["estimate"].notna()]
    if known.empty:
        return (_no_answer(result), *_in_words(result.frame, result.method.level), CAUTION)
    each = {_kind(row.measure): row for row in known.itertuples()}
    main = each.get("adjusted") or each.get("crude")
    return (
        _opening(result, main),
        *_certainty(main),
        *_beside(each, main, result),
        *([ended(result.verdict)] if result.verdict else []),
        *result.said[:1],
        CAUTION,
    )


def _opening(result: Answer, row) -> str:
    one, other = plain(result.chosen), plain(result.reference)
    level, kind = result.method.level, _kind(row.measure)
    given = f", for sessions alike in {listed(row.adjusted_for.split(', '))}" if row.adjusted_for else ""
    point, limits = numbers.amount(row.estimate), numbers.amount_range(row.estimate, row.low, row.high)
    interval = f"{numbers.interval_name(level)} {limits}" if numbers.known(row.low) else "no interval"
    base = f"{_rests_on(row)} sessions of {numbers.count(row.patients)} v {numbers.count(row.patients_ref)} patients"
    odds = "the odds of cleared necrosis were" if "odds" in str(row.measure) else "the yield of a session was"
    return f"With {one} {odds} {point} times that with {other}{given} ({kind}; {interval}; {base})."


def _certainty(row) -> list[str]:
    if _kind(row.measure) == "crude":
        return ["That is crude: the sessions were not made alike in anything, so it does not tell which removes more."]
    if not numbers.known(row.low):
        return ["How sure that is cannot be said: there is no interval."]
    if row.low <= 1 <= row.high:
        return ["The interval includes no difference: these data do not tell which of the two removes more."]
    return [f"The interval excludes no difference: {'more' if row.estimate > 1 else 'less'} was removed with it."]


def _beside(each: dict, main, result: Answer) -> list[str]:
    level = result.method.level
    one, other = sentence_case(plain(result.chosen)), plain(result.reference)
    apart = [note.text for note in result.notes if note.text.startswith((f"{one} and {other} were", "Only "))]
    why = "".join(f" {text}" for text in apart[:1] if f"{plain(result.chosen)} and {other}" in text.lower())
    rest = [_ratio(row, level) for row in each.values() if row is not main]
    lost = [name for name in ("adjusted", "within patients") if name not in each]
    said = [f"Beside it: {'; '.join(rest)}."] if rest else []
    return said + [f"Not estimated: {', '.join(lost)}.{why}"] * bool(lost)


def _unmeasured(row) -> list[str]:
    if not numbers.known(getattr(row, "e_value_limit", None)) or row.e_value_limit <= 1:
        return []
    return [
        "Something not recorded would have to go with both the choice of instrument and the yield by a risk ratio of "
        f"{numbers.amount(row.e_value)} each to explain it all away, and of {numbers.amount(row.e_value_limit)} to "
        "move the interval to no difference (E-value)."
    ]


@table.register(YieldComparison)
def _(result: YieldComparison, *, of: str = RATIOS, **options) -> Table:
    """A row a class. `of`: "ratios" (each model in a column) or "record" (what was recorded of each class)."""
    if of not in (RATIOS, RECORD):
        raise unknown_choice("table of yields", of, (RATIOS, RECORD))
    return _record_table(result) if of == RECORD else _ratio_table(result)


def _ratio_table(result: YieldComparison) -> Table:
    level, measures = numbers.interval_name(result.method.level), in_order(result.frame["measure"])
    heads = {each: f"{_model_heading(each)} ({level})" for each in measures}
    several = len(set(result.frame["variable"])) > 1
    made: dict[tuple, dict[str, str]] = {}
    for row in result.frame.itertuples():
        names = {"Yield": sentence_case(plain(row.variable))} if several else {}
        names |= {"Class": contrasts.pair(row) + (" (primary)" if row.primary else "")}
        line = made.setdefault((row.variable, row.group), names)
        line[heads[row.measure]] = contrasts.text(row)
        if _kind(row.measure) == "adjusted":
            line |= {"Sessions": _rests_on(row), "p-value": numbers.p_value(row.p_value).removeprefix("p = ")}
    columns = [*(["Yield"] if several else []), "Class", "Sessions", *heads.values(), "p-value"]
    frame = pd.DataFrame(list(made.values()), columns=columns, dtype=object).fillna("")
    remarks = ["Sessions: those of the class v those of the reference in the adjusted model."] if made else []
    remarks += ["p-value: of the primary contrast, adjusted."] if made else [ended(_no_answer(result))]
    return Table(
        caption=table_caption(result),
        frame=frame,
        row_heads=2 if several else 1,
        notes=(*remarks, *(ended(note.text) for note in result.notes)),
    )


def _model_heading(measure: object) -> str:
    """The model of a ratio of yields, or the measure with its unit."""
    return sentence_case(_kind(measure)) if str(measure).startswith("ratio") else contrasts.heading(measure)


_RECORD_HEADS = {
    "instrument_class": "Class",
    "patients": "Patients",
    "necrosectomies": "Necrosectomies",
    "alone": "Alone",
    "with_others": "With others",
    "yield_in_numbers": "Yield in numbers",
    "in_words_only": "In words only",
    "no_yield_written": "Not written",
    "sessions_counted": "Sessions counted",
    "in_models": "In models",
}


def _record_table(result: YieldComparison) -> Table:
    """What was recorded of each class before anything was left out."""
    columns = list(_RECORD_HEADS.values())
    made = [
        {head: plain(getattr(row, name)) for name, head in _RECORD_HEADS.items()} for row in result.cells.itertuples()
    ]
    notes = (
        "Up to Not written: every necrosectomy in which the class was used, before anything is left out. Sessions "
        "counted: those that the rule for shared sessions credits, in one unit.",
    )
    caption = f"What was recorded of each class. {table_caption(result)}"
    return Table(caption=caption, frame=pd.DataFrame(made, columns=columns, dtype=object), notes=notes)


@chart.register(YieldComparison)
def _(result: YieldComparison, *, width: str = "page", of: str = RATIOS, **options) -> Figure:
    """`of`: "ratios" (crude, adjusted and within patients for each class) or "amounts" (every yield)."""
    if of not in (RATIOS, AMOUNTS):
        raise unknown_choice("figure of yields", of, (RATIOS, AMOUNTS))
    if of == AMOUNTS:
        return amounts_figure(result, width)
    return _forest(result, width)


def _forest(result: YieldComparison, width: str) -> Figure:
    ratios = _ratios(result.frame)
    level = numbers.interval_name(result.method.level)
    panels = tuple(
        _panel(ratios[ratios["variable"] == each], each, level) for each in dict.fromkeys(ratios["variable"])
    )
    panels = tuple(panel for panel in panels if panel.rows)
    empty = Panel(heading="Nothing to compare", columns=(), rows=(), scale=from_zero([], label=""))
    remark = "The vertical line marks no difference" if panels else ""
    cut = "An arrow points to what lies beyond the scale" if any(panel.cuts for panel in panels) else ""
    return figure_of(
        result, panels or (empty,), ratios.reset_index(drop=True), "Points with intervals", width, remark, cut
    )


def _panel(rows: pd.DataFrame, variable: object, level: str) -> Panel:
    made, styles = [], {}
    for (group, reference), here in _by_pair(rows):
        name = f"{plain(group)} v {plain(reference)}" + (", the primary contrast" if here["primary"].any() else "")
        made.append(Row(label=sentence_case(name), bold=True, starts=True))
        for row in here.itertuples():
            style = styles.setdefault(_kind(row.measure), style_at(len(styles)))
            mark = Mark(estimate=row.estimate, low=row.low, high=row.high, style=style)
            known = numbers.known(row.estimate)
            made.append(
                Row(
                    label=_kind(row.measure),
                    indent=1,
                    marks=(mark,) if known else (),
                    texts=(_rests_on(row) if known else "", contrasts.text(row)),
                )
            )
    shown = rows[LIMITS].to_numpy(dtype=float)
    scale = logarithmic(shown[:, 0], shown[:, 1:].ravel(), label="ratio, log scale, 1 = no difference", reference=1.0)
    heading = f"{sentence_case(plain(variable))}: {plain(rows['measure'].iloc[0]).partition(',')[0]}" if made else ""
    return Panel(heading=heading, columns=("sessions", f"ratio ({level})"), rows=tuple(made), scale=scale)


def _by_pair(rows: pd.DataFrame):
    for group in in_order(rows["group"]):
        here = rows[rows["group"] == group]
        if len(here):
            yield (group, here["reference"].iloc[0]), here


@findings.register(Specifications)
def _(result: Specifications, **options) -> tuple[str, ...]:
    """The verdict, then the lowest and the highest estimate with what went into them."""
    known = result.frame[result.frame["estimate"].notna()]
    if known.empty:
        return (result.verdict,)
    ends = [next(rows.itertuples()) for rows in (known.head(1), known.tail(1))]
    said = [f"{contrasts.text(row)} ({plain(row.rule)}, adjusted for {plain(row.adjusted_for)})" for row in ends]
    of = f"{len(known)} {plural(len(known), 'ways')} of counting and adjusting"
    return (result.verdict, f"Ratios over {of}: from {said[0]} to {said[1]}.")


@table.register(Specifications)
def _(result: Specifications, **options) -> Table:
    """A row for each rule and set of adjustments, by estimate."""
    level = f"Ratio ({numbers.interval_name(result.method.level)})"
    columns = ["Shared sessions", "Adjusted for", "Sessions", level]
    made = [
        dict(
            zip(
                columns,
                (
                    sentence_case(plain(row.rule)) + (" (to be judged by)" if row.main else ""),
                    plain(row.adjusted_for),
                    numbers.count(row.sessions),
                    contrasts.text(row),
                ),
                strict=True,
            )
        )
        for row in result.frame.itertuples()
    ]
    notes = (ended(result.verdict), *(ended(note.text) for note in result.notes))
    frame = pd.DataFrame(made, columns=columns, dtype=object)
    return Table(caption=table_caption(result), frame=frame, notes=notes, words=("Adjusted for",))


@findings.register(Overlap)
def _(result: Overlap, **options) -> tuple[str, ...]:
    """Where classes cannot be compared, a sentence a class."""
    apart = tuple(note.text for note in result.notes if note.code == "NO_OVERLAP")
    if result.frame.empty or len(in_order(result.frame["group"])) < 2:
        return ("Fewer than two classes of instrument have a yield that counts: there is nothing to set side by side.",)
    if (result.frame.groupby("group", observed=True)["n"].max() < FEWEST_SESSIONS_FOR_A_MEAN).all():
        return ("No class has enough sessions with a yield that counts to compare another with it.",)
    return apart or ("Every class was used at every level at which the reference was.",)


@table.register(Overlap)
def _(result: Overlap, **options) -> Table:
    """Levels down, classes across: sessions at each."""
    groups = in_order(result.frame["group"])
    made: dict[tuple, dict[str, str]] = {}
    for row in result.frame.itertuples():
        line = made.setdefault(
            (row.variable, row.level), {"Known before": sentence_case(plain(row.variable)), "Level": plain(row.level)}
        )
        line[sentence_case(plain(row.group))] = numbers.count(row.events)
    columns = ["Known before", "Level", *(sentence_case(plain(each)) for each in groups)]
    frame = pd.DataFrame(list(made.values()), columns=columns, dtype=object).fillna("")
    return Table(
        caption=table_caption(result),
        frame=frame,
        row_heads=2,
        notes=tuple(ended(note.text) for note in result.notes),
    )


@findings.register(Statements)
def _(result: Statements, **options) -> tuple[str, ...]:
    return result.said


@table.register(Statements)
def _(result: Statements, **options) -> Table:
    """The rows with their figures rounded; shares in per cent."""
    frame = result.frame
    heads = {name: _head(name) for name in frame.columns}
    whole = {name: pd.api.types.is_integer_dtype(frame[name]) for name in frame.columns}
    cells = {heads[name]: [_cell(name, each, whole[name]) for each in frame[name]] for name in frame.columns}
    made = pd.DataFrame(cells, dtype=object)
    return Table(
        caption=table_caption(result),
        frame=made.reindex(columns=list(heads.values())),
        row_heads=2 if len(heads) > 2 else 1,
        notes=tuple(ended(note.text) for note in result.notes),
    )


def _is_share(name: str) -> bool:
    return name.endswith(("limit", "share_found"))


def _head(name: str) -> str:
    return sentence_case(name.replace("_", " ")) + (", %" if _is_share(name) else "")


def _cell(name: str, value: object, whole: bool) -> str:
    if isinstance(value, str):
        return plain(value)
    if not numbers.known(value):
        return ""
    if _is_share(name):
        return numbers.rounded(100 * value, 1)
    return numbers.count(value) if whole else numbers.amount(value)
