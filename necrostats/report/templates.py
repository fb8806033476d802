"""Template notebooks: finding one, and checking the values for its parameters before anything runs."""

from __future__ import annotations

import ast
import io
import tokenize
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import nbformat

from necrostats import bundled
from necrostats.errors import ChoiceError, ReportError, unknown_choice

SUFFIX = ".ipynb"
PARAMETERS = "parameters"
KINDS = {"str": str, "int": int, "float": float, "bool": bool, "list": list}
YES_NO = {"yes": True, "true": True, "no": False, "false": False}


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """One line of the cell tagged `parameters`: `name: type = default  # help`."""

    name: str
    kind: str
    default: object
    help: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Template:
    """A notebook to run: its name, its cells without outputs, and its parameters."""

    name: str
    notebook: nbformat.NotebookNode
    parameters: tuple[Parameter, ...]

    @property
    def parameter_names(self) -> tuple[str, ...]:
        """The names of the parameters in the order of their lines."""
        return tuple(parameter.name for parameter in self.parameters)

    @property
    def cells_of_code(self) -> int:
        """How many cells there are to run."""
        return sum(cell.cell_type == "code" for cell in self.notebook.cells)


def bundled_names() -> tuple[str, ...]:
    """The names of the templates that come with necrostats, in alphabetical order."""
    return tuple(sorted(path.stem for path in bundled.notebooks().glob(f"*{SUFFIX}")))


def find(template: str) -> Template:
    """A template by its bundled name, or by the path of a notebook; ChoiceError or ReportError if there is none."""
    if Path(template).suffix == SUFFIX:
        return read(Path(template))
    if template not in bundled_names():
        raise unknown_choice("template", template, bundled_names())
    return read(bundled.notebooks() / f"{template}{SUFFIX}")


def read(path: Path) -> Template:
    """The notebook at `path` as a template; ReportError if it cannot be read as one."""
    notebook = _notebook(path)
    cells = [cell for cell in notebook.cells if is_tagged(cell, PARAMETERS)]
    if len(cells) != 1:
        raise ReportError(
            f'{path.name} has {len(cells)} cells tagged "{PARAMETERS}". A template needs exactly one: '
            "in JupyterLab, tag the cell in the property inspector."
        )
    return Template(name=path.stem, notebook=notebook, parameters=parameters_in(cells[0].source, path.name))


def is_tagged(cell: nbformat.NotebookNode, tag: str) -> bool:
    """Whether a cell carries a tag."""
    return tag in cell.metadata.get("tags", [])


def _notebook(path: Path) -> nbformat.NotebookNode:
    try:
        notebook = nbformat.reads(path.read_text(encoding="utf-8"), as_version=4)
        nbformat.validate(notebook)
    except FileNotFoundError:
        raise ReportError(
            f"There is no template {path}. Check the path, or name one of: {', '.join(bundled_names())}."
        ) from None
    except (OSError, ValueError, TypeError, KeyError, AttributeError, nbformat.ValidationError) as error:
        raise ReportError(f"{path} cannot be read as a notebook. Open it in JupyterLab and save it again.") from error
    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    return notebook


def parameters_in(source: str, where: str) -> tuple[Parameter, ...]:
    """The parameters declared in a cell's source; ReportError for a line of any other form."""
    try:
        lines = ast.parse(source).body
    except SyntaxError as error:
        raise ReportError(f"{where}: the cell of parameters is not valid Python (line {error.lineno}).") from None
    comments = _comments(source)
    return tuple(_parameter(line, comments.get(line.end_lineno, ""), where) for line in lines)


def _comments(source: str) -> dict[int, str]:
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    return {token.start[0]: token.string.lstrip("# ").strip() for token in tokens if token.type == tokenize.COMMENT}


def _parameter(line: ast.stmt, comment: str, where: str) -> Parameter:
    form = "name: type = default  # help, with a type of str, int, float, bool or list"
    wrong = ReportError(f"{where}, cell of parameters, line {line.lineno}: write it as {form}.")
    if not (isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name) and line.value is not None):
        raise wrong
    kind = ast.unparse(line.annotation)
    if kind not in KINDS:
        raise wrong
    try:
        default = ast.literal_eval(line.value)
    except ValueError:
        raise wrong from None
    return Parameter(name=line.target.id, kind=kind, default=default, help=comment)


def check_values(template: Template, given: Mapping[str, str | list[str]]) -> dict[str, object]:
    """The given texts, or lists of them, as values of the types declared.

    ChoiceError for an unknown name or a value that does not fit.
    """
    known = {parameter.name: parameter for parameter in template.parameters}
    for name in given:
        if name not in known:
            raise unknown_choice(f"parameter of {template.name}", name, known)
    return {name: _value(known[name], text) for name, text in given.items()}


def _value(parameter: Parameter, text: str | list[str]) -> object:
    if parameter.kind == "list":
        return [text] if isinstance(text, str) else list(text)
    if parameter.kind == "bool":
        if text.lower() not in YES_NO:
            raise ChoiceError(f'"{text}" does not fit the parameter {parameter.name}. Write yes or no.')
        return YES_NO[text.lower()]
    try:
        return KINDS[parameter.kind](text)
    except ValueError:
        noun = {"int": "a whole number", "float": "a number"}[parameter.kind]
        raise ChoiceError(f'"{text}" does not fit the parameter {parameter.name}. Write {noun}.') from None
