"""What may be asked of a public function: every wrong argument is answered in one sentence with its remedy.

Each argument is checked by what the signature says of it. A definition, window or scale may be given by its name;
a blank text is the same as None where None may be given.
"""

from __future__ import annotations

import difflib
import functools
import inspect
import numbers
from collections.abc import Callable, Mapping, Sequence
from os import PathLike
from typing import Any

from necrostats import results
from necrostats.definitions.adverse_events import scale_named, window_named
from necrostats.definitions.attribution import rule_named
from necrostats.definitions.resolution import definition_named
from necrostats.errors import ChoiceError
from necrostats.measures.abstract import CaseSeries
from necrostats.registry.tables import Registry
from necrostats.stats.checks import confidence_level

OPTIONAL = " | None"
LONGEST_SHOWN = 60
READ_FIRST = 'Read one first: registry = read_registry("folder").'


def answering(function: Callable) -> Callable:
    """The function with every argument checked before it begins; ChoiceError or StatisticsError for a wrong one."""
    signature = inspect.signature(function)

    @functools.wraps(function)
    def answered(*positional, **named):
        bound = _bound(function.__name__, signature, positional, named)
        for name, value in bound.arguments.items():
            bound.arguments[name] = _checked(name, value, signature.parameters[name])
        return function(*bound.args, **bound.kwargs)

    answered.__signature__ = _readable(signature)
    return answered


def _readable(signature: inspect.Signature) -> inspect.Signature:
    """The signature with the names of definitions, windows and scales in place of whole objects: they may be given."""
    return signature.replace(
        parameters=[each.replace(default=_by_name(each.default)) for each in signature.parameters.values()]
    )


def _by_name(default: object) -> object:
    if isinstance(default, tuple):
        return tuple(_by_name(each) for each in default)
    return getattr(default, "name", default)


def _bound(function: str, signature: inspect.Signature, positional: tuple, named: dict) -> inspect.BoundArguments:
    known = list(signature.parameters)
    open_ended = any(each.kind is inspect.Parameter.VAR_KEYWORD for each in signature.parameters.values())
    for name in named:
        if name not in known and not open_ended:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f' Did you mean "{near[0]}"?' if near else ""
            raise ChoiceError(f'{function} cannot be asked for "{name}".{hint} It knows: {", ".join(known)}.')
    try:
        return signature.bind(*positional, **named)
    except TypeError as error:
        raise ChoiceError(f"{function}: {error}. It is asked as {_form(function, signature)}.") from None


def _form(function: str, signature: inspect.Signature) -> str:
    needed = [each for each in signature.parameters.values() if each.default is inspect.Parameter.empty]
    asked = [f"{each.name}=…" if each.kind is inspect.Parameter.KEYWORD_ONLY else each.name for each in needed]
    return f"{function}({', '.join(asked)})"


def _checked(name: str, value: Any, parameter: inspect.Parameter) -> Any:
    kind = str(parameter.annotation)
    if kind.endswith(OPTIONAL) and (value is None or (isinstance(value, str) and not value)):
        return None
    if value is parameter.default:
        return value
    check = CHECKS.get(kind.removesuffix(OPTIONAL))
    return check(name, value) if check else value


def _shown(value: object) -> str:
    """A value as it was written, on one line; for what is more than that, its kind."""
    text = f'"{value}"' if isinstance(value, str | PathLike) else repr(value)
    return text if len(text) <= LONGEST_SHOWN and text.isprintable() else f"a {type(value).__name__}"


def _registry(name: str, value: object) -> Registry:
    if isinstance(value, Registry):
        return value
    if isinstance(value, str | PathLike):
        raise ChoiceError(f'{_shown(value)} is where a registry lies. Read it first: read_registry("{value}").')
    raise ChoiceError(f"{name} is {_shown(value)}: a registry is needed. {READ_FIRST}")


def _of_kind(kind: type, remedy: str) -> Callable[[str, object], object]:
    def check(name: str, value: object) -> object:
        if not isinstance(value, kind):
            raise ChoiceError(f"{name} is {_shown(value)}: {remedy}")
        return value

    return check


def _nothing(name: str, value: object) -> None:
    if value not in (None, ""):
        raise ChoiceError(f"{name} is {_shown(value)}, and this measure makes no groups. Leave {name} out.")


def _text(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise ChoiceError(f"{name} is {_shown(value)}: one name in quotation marks is needed.")
    return value


def _path(name: str, value: object) -> str | PathLike:
    if not isinstance(value, str | PathLike):
        raise ChoiceError(f"{name} is {_shown(value)}: give the path of a folder or file, in quotation marks.")
    return value


def _listed(value: object) -> bool:
    return not isinstance(value, str | bytes | Mapping) and hasattr(value, "__iter__")


def _texts(name: str, value: object) -> Sequence[str]:
    if not _listed(value):
        example = value if isinstance(value, str) else "…"
        raise ChoiceError(f'{name} is {_shown(value)}: write it as a list, {name}=["{example}"].')
    return tuple(_text(name, each) for each in value)


def _text_or_texts(name: str, value: object) -> str | Sequence[str]:
    return value if isinstance(value, str) else _texts(name, value)


def _whole(name: str, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, numbers.Real) or value != value // 1 or value < 0:
        raise ChoiceError(f"{name} is {_shown(value)}: a whole number, 0 or more, is needed.")
    return int(value)


def _whole_numbers(name: str, value: object) -> tuple[int, ...]:
    if not _listed(value):
        example = value if isinstance(value, int) else 90
        raise ChoiceError(f"{name} is {_shown(value)}: write it as a list, {name}=[{example}].")
    if not len(asked := tuple(_whole(name, each) for each in value)):
        raise ChoiceError(f"{name} is empty: name at least one, {name}=[90].")
    return asked


def _number(name: str, value: object) -> float:
    if name == "level":
        return confidence_level(value)
    if isinstance(value, bool) or not isinstance(value, numbers.Real) or not value >= 0:
        raise ChoiceError(f"{name} is {_shown(value)}: a number, 0 or more, is needed.")
    return value


def _days_by_name(name: str, value: object) -> Mapping[str, int]:
    if not isinstance(value, Mapping):
        raise ChoiceError(f'{name} is {_shown(value)}: write a day for each name, {name}={{"P001": 12}}.')
    return {key: _whole(name, day) for key, day in value.items()}


def _named(find: Callable) -> Callable[[str, object], object]:
    def check(name: str, value: object) -> object:
        if not isinstance(value, str) and isinstance(value, numbers.Real | list | tuple | dict):
            raise ChoiceError(f"{name} is {_shown(value)}: give its name in quotation marks.")
        return find(value)

    return check


def _each_named(find: Callable) -> Callable[[str, object], object]:
    def check(name: str, value: object) -> tuple:
        if not _listed(value):
            raise ChoiceError(f"{name} is {_shown(value)}: write it as a list of names or definitions.")
        return tuple(find(each) for each in value)

    return check


CHECKS: Mapping[str, Callable[[str, Any], Any]] = {
    "Registry": _registry,
    "CaseSeries": _of_kind(CaseSeries, "make it first, series = case_series(registry)."),
    "None": _nothing,
    "str": _text,
    "str | Path": _path,
    "int": _whole,
    "float": _number,
    "Sequence[str]": _texts,
    "str | Sequence[str]": _text_or_texts,
    "Sequence[int]": _whole_numbers,
    "Mapping[str, int]": _days_by_name,
    "ResolutionDefinition": lambda name, value: definition_named(value),
    "ResolutionDefinition | str": lambda name, value: definition_named(value),
    "Sequence[ResolutionDefinition]": _each_named(definition_named),
    "EventWindow | str": _named(window_named),
    "GradingScale | str": _named(scale_named),
    "AttributionRule | str": _named(rule_named),
    "Sequence[AttributionRule | str]": _each_named(rule_named),
    "YieldComparison": _of_kind(results.YieldComparison, "what compare_yield(registry) returns is needed."),
    "Specifications": _of_kind(results.Specifications, "what attribution_sensitivity(registry) returns is needed."),
    "Quarters": _of_kind(results.Quarters, "what quarter_verdicts(registry) returns is needed."),
    "Statements": _of_kind(results.Statements, "what precision_plan(registry) returns is needed."),
    "tuple[Result, ...]": _of_kind(tuple, "results in round brackets are needed."),
}
