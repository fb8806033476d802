"""Three axes as people write them, in a column of centimetres (the wide sheet) or of millimetres (the scans)."""

from __future__ import annotations

from messy_export.cells import EITHER, SET_ASIDE, UNKNOWN, Typed
from messy_export.people import BLANKS, Pen, Person, weighted
from messy_export.unit import Row
from messy_export.words import unknown

AXES = ("long_mm", "mid_mm", "short_mm")
CM = weighted(plain=6, spaced=3, mm=2, cm=2, shuffled=2, range=1, word=1, blank=1, report=1)
MM = weighted(
    plain=20,
    spaced=6,
    mm=6,
    cm=5,
    shuffled=5,
    decimal_cm=2,
    star=1,
    by=1,
    range=1,
    word=1,
    blank=1,
    pointing=1,
)


def axes_of(row: Row) -> list[int]:
    """The axes that are known, longest first; a later one is never known where an earlier one is not."""
    known = [row[name] for name in AXES]
    return [int(value) for value in known[: known.index("") if "" in known else 3]]


def type_size(pen: Pen, row: Row, *, unit: str) -> Typed:
    """The size of a collection in a column of `unit` (cm or mm)."""
    axes = axes_of(row)
    if not axes:
        return Typed(value=pen.deal("blanks", BLANKS), fate=UNKNOWN, mess="blank word")
    if axes[0] == 0:
        return _gone(pen)
    form = pen.deal(f"size {unit}", CM if unit == "cm" else MM)
    lost = _lost(pen, form)
    return lost or _read(form, axes, unit)


def _gone(pen: Pen) -> Typed:
    value = pen.deal("gone", ("0", 0, "0 mm", "0", 0))
    return Typed(value=value, fills={"long_mm": "0"}, mess="zero")


def _lost(pen: Pen, form: str) -> Typed | None:
    if form == "blank":
        return Typed(value=pen.deal("blanks", BLANKS), fate=UNKNOWN, mess="blank word")
    if form == "report":
        return Typed(value="see report", fate=UNKNOWN, mess="see report")
    found = {
        "range": ("10-12", "range where one number belongs"),
        "word": ("huge", "no size"),
        "pointing": ("as before", "points elsewhere"),
    }
    if form not in found:
        return None
    value, mess = found[form]
    return Typed(value=value, fate=SET_ASIDE, mess=mess)


def _read(form: str, axes: list[int], unit: str) -> Typed:
    fills = {name: str(value) for name, value in zip(AXES, axes, strict=False)}
    mm, cm = [str(each) for each in axes], [f"{each / 10:g}" for each in axes]
    bare = cm if unit == "cm" else mm
    several = len(axes) > 1
    reading = "" if len(axes) == 3 else EITHER
    text = {
        "plain": "x".join(bare),
        "spaced": " × ".join(bare),
        "mm": f"{' × '.join(mm)} mm",
        "cm": f"{'x'.join(cm)} cm",
        "decimal cm": f"{' x '.join(cm)} cm",
        "shuffled": "x".join(bare[::-1]),
        "star": "*".join(bare),
        "by": " by ".join(bare),
    }[form]
    mess = {"cm": "another unit", "decimal cm": "another unit", "mm": "axes with unit"}.get(form, "axes")
    return Typed(
        value=text,
        fills=fills,
        reading=EITHER if form in ("star", "by") else reading,
        mess=mess if several else "",
    )


def type_wrong_unit(row: Row) -> Typed | None:
    """Centimetres typed into a column of millimetres: read as it stands, for nothing is rescaled; None if not."""
    axes = axes_of(row)
    if len(axes) < 3 or not axes[2] >= 20 or axes[0] >= 200:
        return None
    small = [round(each / 10) for each in axes]
    fills = {name: str(value) for name, value in zip(AXES, small, strict=True)}
    return Typed(value="x".join(map(str, small)), fills=fills, mess="centimetres among millimetres")


def type_solid(pen: Pen, person: Person, percent: str) -> Typed:
    """The solid share: a number, with its sign, a fraction shown as per cent, or a range."""
    if not percent:
        return unknown(pen, person)
    fills = {"solid_percent": percent}
    return {
        "number": Typed(value=int(percent), fills=fills),
        "sign": Typed(value=f"{percent}%", fills=fills, mess="number with its unit"),
        "shown": Typed(value=int(percent) / 100, form="0%", fills=fills, mess="shown as per cent"),
        "range": Typed(value=f"{percent}-{int(percent) + 10}", fate=SET_ASIDE, mess="range where one number belongs"),
        "open": Typed(value=f">{percent}", fate=SET_ASIDE, mess="range where one number belongs"),
    }[pen.deal("solid", ("number",) * 8 + ("sign",) * 4 + ("shown",) * 3 + ("range", "open"))]
