"""Who the patient and the operator are: study codes in many forms, and pseudonyms."""

from __future__ import annotations

from messy_export.cells import Typed
from messy_export.people import Pen, Person
from messy_export.words import unknown


def type_key(pen: Pen, code: str) -> Typed:
    """P0007 as it stands, in lower case, with blanks, or without its zeros."""
    bare = int(code[1:])
    forms = {
        "own": code,
        "lower": code.lower(),
        "blanks": f" {code} ",
        "number": bare,
        "short": f"P{bare}",
        "digits": code[1:],
    }
    form = pen.deal("key", ("own",) * 8 + tuple(forms)[1:])
    return Typed(value=forms[form], mess="" if form == "own" else "key in another form")


def type_operator(pen: Pen, person: Person, operator: str) -> Typed:
    """The operator's pseudonym; which one it becomes is left open."""
    if not operator:
        return unknown(pen, person)
    return Typed(value=operator.replace("operator", "op"), fills={"operator": "*"})
