"""A layout proposed from an export's headings and contents; every guess is marked as one, with what it rests on.

No date, no code of a patient and no free text is shown in it; other cells only where they read as what is guessed.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from necrostats.registry.codebook import TABLES
from necrostats.registry.export.cells import Export, Grid, RawColumn
from necrostats.registry.export.draft_evidence import says_necrosectomy
from necrostats.registry.export.form_drafts import forms_of
from necrostats.registry.export.heading_guesses import (
    WITHIN,
    Group,
    Guess,
    Reader,
    assigned,
    groups_of,
    guesses,
    header_rows_of,
    likeness,
    phrases,
    plain_heading,
)
from necrostats.registry.export.key_drafts import codes_in_column, shared_of, with_keys
from necrostats.registry.export.kind_drafts import rows_by_kind
from necrostats.registry.export.layout_text import (
    GUESS,
    Maker,
    Plan,
    Sheet,
    all_cells,
    dates_lines,
    fill_lines,
    id_lines,
    number_lines,
    open_lines,
    orders_of,
    sex_lines,
    sheet_lines,
    toml,
    tomls,
    word_lines,
)
from necrostats.registry.export.mapped_sheets import headings
from necrostats.registry.export.private import refuse_names
from necrostats.registry.reading import read_export
from necrostats.registry.text import LANGUAGES, codes_in, folded
from necrostats.registry.words import built_in, codes_of_columns

_TOP = """\
# Proposed by necrostats. Every line marked "a guess" is one: look at each, correct it, and take the mark away.
format = 1
"""
_ESSENTIAL = {
    "sessions": ("day",),
    "scans": ("day",),
    "reviews": ("day",),
    "other_interventions": ("day",),
    "adverse_events": ("day", "event_type"),
    "stents": ("placed_day", "stent", "stents"),
    "collections": ("size", "site", "collections"),
    "instrument_uses": ("instrument_class",),
    "deaths": ("death_day",),
}
_STENT = re.compile(r"(?<![a-z])(stents?|lams|dpt|prothes|protes)")
_ENOUGH_WORDS = 6
_A_FEW = 0.2


def draft_layout(export: str | Path, *, accepted: Collection[str] = ()) -> str:
    """The text of a layout for an export. SourceError if it cannot be read; RegistryError if a heading or a name in it
    looks like an identifier and is not among the places `accepted` by a person, which the layout then accepts too.
    """
    read = read_export(export)
    refuse_names(read, {id(grid): header_rows_of(grid) for grid in read.grids}, accepted)
    looked_at = [f"accept = {tomls(accepted)}  # places that a person has looked at", ""] if accepted else []
    return "\n".join([_TOP, *looked_at, *_whole(read)]).rstrip() + "\n"


def _sheet(grid: Grid) -> Sheet:
    header_rows = header_rows_of(grid)
    below = np.flatnonzero(grid.rows > max(header_rows))
    seen: Counter[str] = Counter()
    columns = {}
    for column, heading in zip(grid.columns, headings(grid, header_rows), strict=True):
        shown = heading or f"({column.letters})"
        seen[folded(shown)] += 1
        columns[shown if seen[folded(shown)] == 1 else f"{shown}#{seen[folded(shown)]}"] = column.at(below)
    return Sheet(grid=grid, header_rows=header_rows, columns=columns)


def _whole(export: Export) -> Iterator[str]:
    grids = [grid for grid in export.grids if not grid.hidden]
    records = [grid for grid in grids if not _is_no_record(grid)]
    forms = forms_of(records)
    named = {name for form in forms for name in form.names}
    sheets = with_keys([*forms, *(_sheet(grid) for grid in records if grid.name not in named)], _main)
    reader = _reader(sheets)
    main = _main(sheets)
    plans = _merged([plan for sheet in sheets for plan in _plans(sheet, reader, main=sheet is main)])
    read = {name for group, _ in plans for sheet in group for name in sheet.every_name}
    known = frozenset(codes_in_column(main.columns[main.key])) if main and main.key else frozenset()
    undecided = [
        sheet.grid.name for sheet in sheets if _is_about_patients(sheet, known) and sheet.grid.name not in read
    ]
    left = [grid.name for grid in export.grids if grid.name not in read and grid.name not in undecided]
    if reader.language:
        yield f"language = {toml(reader.language)}  {GUESS}from words in the cells"
    if left:
        yield f"ignore_sheets = {tomls(left)}  {GUESS}hidden, empty, or of no known kind"
    yield from open_lines(undecided)
    yield ""
    yield from dates_lines(sheets)
    yield from number_lines(reader)
    yield from id_lines(sheets, main)
    yield from fill_lines(plans)
    yield from sex_lines(plans, reader)
    yield from word_lines(plans)
    indexed = any(each.index or each.holds("index_date") for _, makers in plans for each in makers)
    for group, makers in plans:
        yield from sheet_lines(group, makers, indexed=indexed)


def _is_about_patients(sheet: Sheet, known: frozenset[str]) -> bool:
    """Whether the rows of a sheet name patients that are known, or sessions."""
    return bool(sheet.session) or shared_of(sheet, known) >= _A_FEW


def _is_no_record(grid: Grid) -> bool:
    return likeness(grid.name, phrases()["sheets"]["nothing"]) >= WITHIN or not len(grid.rows)


def _main(sheets: Sequence[Sheet]) -> Sheet | None:
    """The sheet of patients: each has one row, and most headings of patients are there."""
    alone = [sheet for sheet in sheets if sheet.key and _is_unique(sheet.columns[sheet.key])]
    return max(alone or sheets, key=_patient_like, default=None)


def _patient_like(sheet: Sheet) -> float:
    listed = [
        phrase for section in ("patients", "collections") for each in phrases()[section].values() for phrase in each
    ]
    named = likeness(sheet.grid.name, phrases()["sheets"]["patients"]) - likeness(
        sheet.grid.name, phrases()["sheets"]["deaths"]
    )
    return named + sum(likeness(heading, listed) >= WITHIN for heading in sheet.columns)


def _is_unique(column: RawColumn) -> bool:
    texts = [text for text in column.texts() if str(text).strip()]
    return len(set(texts)) >= 0.9 * len(texts) if texts else False


def _reader(sheets: Sequence[Sheet]) -> Reader:
    orders = orders_of(sheets)
    marks = Counter(
        found[1]
        for cell in all_cells(sheets)
        for found in re.finditer(r"(?<![0-9.,])[0-9]{1,4}([.,])[0-9]{1,2}(?![0-9.,])", cell.text)
    )
    decimal = "," if marks[","] > marks["."] else "." if marks["."] > marks[","] else ""
    return Reader(
        day_first="month_first" not in orders or "day_first" in orders, decimal=decimal, language=_language(sheets)
    )


def _language(sheets: Sequence[Sheet]) -> str:
    """The language, not English, whose words for codes stand in the most different cells; blank where they are few."""
    texts = {folded(cell.text) for cell in all_cells(sheets) if len(cell.text) <= 30}
    english = {word for column in codes_of_columns() for word in built_in(column)}
    english |= {code for table in TABLES.values() for column in table.columns for code in column.codes}
    counted = {
        language: len({word for column in codes_of_columns() for word in codes_in(language, column)} & texts - english)
        for language in LANGUAGES
    }
    best = max(counted, key=counted.get)
    return best if counted[best] >= max(_ENOUGH_WORDS, len(english & texts) / 2) else ""


def _plans(sheet: Sheet, reader: Reader, *, main: bool) -> list[tuple[Sheet, list[Maker]]]:
    """A sheet with what its rows make; a log with rows of several kinds once for each of them."""
    kinds = rows_by_kind(sheet) if (sheet.key or sheet.session) and not (main or sheet.names) else []
    makers = [(each, _one_table(each, table, reader)) for table, each in kinds]
    if len(makers) > 1 and all(made for _, made in makers):
        return makers
    return [(sheet, _makers(sheet, reader, main=main or bool(sheet.labels)))]


def _one_table(sheet: Sheet, table: str, reader: Reader) -> list[Maker]:
    free = [heading for heading in sheet.columns if heading not in (sheet.key, sheet.session)]
    found = [guess for heading in free for guess in guesses(heading, sheet.columns[heading], (table,), reader)]
    maker = Maker(table=table, found=tuple(assigned(found)))
    return [maker] if _has_essential(maker) else []


def _makers(sheet: Sheet, reader: Reader, *, main: bool) -> list[Maker]:
    """What the rows of a sheet seem to make; nothing where nobody says who they are about."""
    grouped = groups_of(list(sheet.columns))
    used = {heading for group in grouped for heading in group.every_heading()}
    free = [heading for heading in sheet.columns if heading not in used | {sheet.key, sheet.session}]
    own = _of_patients(sheet, free, reader) if main else _long(sheet, free, reader)
    wide = [found for group in grouped if (found := _wide(sheet, group, reader))]
    return [*own, *wide] if sheet.key or sheet.session or sheet.names or main else []


def _of_patients(sheet: Sheet, free: Sequence[str], reader: Reader) -> list[Maker]:
    index = _index_group(sheet, free, reader)
    used = {each.heading for each in index.found} if index else set()
    rest = [heading for heading in free if heading not in used]
    stents = [heading for heading in rest if _STENT.search(folded(heading))]
    candidates = [
        guess
        for heading in rest
        for guess in guesses(
            heading,
            sheet.columns[heading],
            ("stents",) if heading in stents else ("patients", "collections"),
            reader,
            named=_STENT.sub("", folded(heading)).strip() if heading in stents else "",
        )
        if not (index and guess.target == "index_date")
    ]
    chosen = _one_site(assigned(candidates))
    told = {each.heading for each in chosen}
    beside = [*_beside(sheet, [heading for heading in rest if heading not in told], reader)]
    makers = [
        Maker(table=table, found=tuple(each for each in chosen if each.table == table))
        for table in ("patients", "collections", "stents")
    ]
    own = [each for each in makers if each.found and _has_essential(each)]
    return [*own, *([index] if index else []), *beside]


def _beside(sheet: Sheet, rest: Sequence[str], reader: Reader) -> Iterator[Maker]:
    """What headings make that begin alike: "CT 3 months date", "CT 3 months (cm)" are one scan."""
    begun: dict[str, list[str]] = {}
    for heading in rest:
        words = plain_heading(heading).split()
        for length in range(1, len(words)):
            begun.setdefault(" ".join(words[:length]), []).append(heading)
        begun.setdefault(" ".join(words), []).append(heading)
    used: set[str] = set()
    for begins in sorted((each for each in begun if len(begun[each]) > 1), key=len, reverse=True):
        own = [heading for heading in begun[begins] if heading not in used]
        if maker := _one_beside(sheet, begins, own, reader):
            used |= {guess.heading for guess in maker.found}
            yield maker


def _own_part(heading: str, begins: str) -> str:
    """What a heading says beyond what several begin with; a bare unit of length heads a size."""
    own = plain_heading(heading).removeprefix(begins).strip()
    return "size" if own in ("", "mm", "cm") else own


def _one_beside(sheet: Sheet, begins: str, own: Sequence[str], reader: Reader) -> Maker | None:
    tried = []
    for table in ("scans", "reviews", "other_interventions", "adverse_events"):
        found = assigned(
            [
                guess
                for heading in own
                for guess in guesses(
                    heading,
                    sheet.columns[heading],
                    (table,),
                    reader,
                    named=_own_part(heading, begins),
                )
            ]
        )
        maker = Maker(table=table, found=tuple(found))
        if len(found) > 1 and _has_essential(maker):
            tried.append((likeness(begins, phrases()["sheets"][table]) + maker.score, maker))
    return max(tried, key=lambda each: each[0])[1] if tried else None


def _one_site(chosen: Sequence[Guess]) -> list[Guess]:
    """Of two columns for the site of a collection the one that may name several."""
    several = any(each.target == "collections" for each in chosen)
    return [each for each in chosen if not (several and each.table == "collections" and each.target == "site")]


def _index_group(sheet: Sheet, free: Sequence[str], reader: Reader) -> Maker | None:
    """Several headings about the index drainage: its session, with its date."""
    phrase = next(
        (
            each
            for each in phrases()["patients"]["index_date"]
            if sum(plain_heading(h).startswith(each + " ") for h in free) > 1
        ),
        "",
    )
    if not phrase:
        return None
    own = [heading for heading in free if plain_heading(heading).startswith(phrase + " ")]
    found = assigned(
        [
            guess
            for heading in own
            for guess in guesses(
                heading,
                sheet.columns[heading],
                ("sessions",),
                reader,
                named=plain_heading(heading).removeprefix(phrase),
            )
        ]
    )
    maker = Maker(table="sessions", found=tuple(found), index=True)
    return maker if _has_essential(maker) else None


def _has_essential(maker: Maker) -> bool:
    wanted = _ESSENTIAL.get(maker.table, ())
    return not wanted or any(maker.holds(target) for target in wanted)


def _long(sheet: Sheet, free: Sequence[str], reader: Reader) -> list[Maker]:
    """The one table that a sheet with a row each time seems to be of."""
    tried = []
    for section in _ESSENTIAL:
        named = likeness(sheet.grid.name, phrases()["sheets"][section])
        if section == "collections" and named < WITHIN:
            continue
        found = assigned(
            [guess for heading in free for guess in guesses(heading, sheet.columns[heading], (section,), reader)]
        )
        table = "patients" if section == "deaths" else section
        maker = Maker(table=table, found=tuple(found))
        if any(maker.holds(target) for target in _ESSENTIAL[section]) and (named >= WITHIN or not _only_dates(maker)):
            tried.append((2 * named + maker.score, maker))
    if not tried:
        return []
    best = max(tried, key=lambda each: each[0])[1]
    return [best, *_reviews_beside(sheet, free, best, reader)]


def _only_dates(maker: Maker) -> bool:
    """Whether nothing but a day is known of its rows, which may be of any kind."""
    return all(guess.target == "day" for guess in maker.found)


def _reviews_beside(sheet: Sheet, free: Sequence[str], maker: Maker, reader: Reader) -> Iterator[Maker]:
    """A scan whose row also says how the patient was makes a review of the same day."""
    if maker.table != "scans":
        return
    told = {guess.heading for guess in maker.found}
    rest = [heading for heading in free if heading not in told]
    found = assigned(
        [
            guess
            for heading in rest
            for guess in guesses(heading, sheet.columns[heading], ("reviews",), reader)
            if guess.target != "day"
        ]
    )
    if found:
        days = tuple(replace(guess, table="reviews") for guess in maker.found if guess.target == "day")
        yield Maker(table="reviews", found=(*days, *found))


def _wide(sheet: Sheet, group: Group, reader: Reader) -> Maker | None:
    tried = []
    for table in ("sessions", "scans", "collections", "stents", "adverse_events", "reviews", "other_interventions"):
        found = assigned(
            [
                guess
                for form in group.headings
                for guess in guesses(
                    form, _most_filled(sheet, group, form), (table,), reader, named=group.own_part(form) or "date"
                )
            ]
        )
        maker = Maker(table=table, found=tuple(found), group=group)
        named = likeness(group.stem, phrases()["sheets"][table])
        told = named >= WITHIN or not _only_dates(maker) or says_necrosectomy(group.every_heading())
        if _has_essential(maker) and told:
            tried.append((named + maker.score, maker))
    return max(tried, key=lambda each: each[0])[1] if tried else None


def _most_filled(sheet: Sheet, group: Group, form: str) -> RawColumn:
    columns = [sheet.columns[group.written[form, number]] for number in group.numbers]
    return max(columns, key=lambda column: int(column.filled().sum()))


def _merged(plans: Sequence[tuple[Sheet, list[Maker]]]) -> list[Plan]:
    """Sheets with the same headings and the same kind of rows told as one, as sheets of several years are."""
    merged: dict[tuple, Plan] = {}
    for sheet, makers in plans:
        if makers:
            form = (tuple(sheet.columns), sheet.header_rows, sheet.where, tuple(each.table for each in makers))
            merged.setdefault(form, ([], makers))[0].append(sheet)
    return list(merged.values())
