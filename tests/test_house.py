"""The habits of the house, held by reading the code: docstrings with units, sizes, imports, layers.

An exemption needs its reason, and one that nothing needs any more fails.
"""

import ast
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("analysis", "reports", "studio")
MOST_LINES, MOST_FUNCTION_LINES, MOST_POSITIONAL = 400, 60, 6

EXEMPT: dict[str, str] = {}  # finding -> reason

NUMERIC = re.compile(r"\b(float|int|Array|ArrayLike|NDArray|ndarray)\b")
UNIT_CLOSES_LINE = re.compile(r"\[[^\]]+\]\.?$", re.MULTILINE)
CITES = re.compile(r"\b(eqs?\.|JCGM|et al\.|ISO \d{3,}|\((19|20)\d\d\))")

Function = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def modules(*folders: str) -> dict[str, ast.Module]:
    files = [p for folder in folders for p in sorted((ROOT / folder).rglob("*.py")) if "migrations" not in p.parts]
    return {p.relative_to(ROOT).as_posix(): ast.parse(p.read_text(encoding="utf-8")) for p in files}


def functions(*folders: str) -> Iterator[tuple[str, Function]]:
    for path, tree in modules(*folders).items():
        for node in ast.walk(tree):
            if isinstance(node, Function):
                yield f"{path}:{node.name}", node


def public_core_functions() -> Iterator[tuple[str, Function]]:
    for path, tree in modules("analysis/core").items():
        for node in tree.body:
            if isinstance(node, Function) and not node.name.startswith("_"):
                yield f"{path}:{node.name}", node


def section(docstring: str, title: str) -> str:
    """Text under a heading of a numpy docstring, empty where there is none."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", docstring, re.MULTILINE | re.DOTALL)
    return found[1] if found else ""


def entry(parameters: str, name: str) -> str | None:
    """Description of one parameter; several may share a heading line."""
    headings = list(re.finditer(r"^(\*?\w[\w*, ]*?)(?: :.*)?$", parameters, re.MULTILINE))
    ends = [heading.start() for heading in headings[1:]] + [len(parameters)]
    for heading, end in zip(headings, ends, strict=False):
        if name in re.split(r",\s*|\*+", heading[1]):
            return parameters[heading.end() : end]
    return None


def is_numeric(annotation: ast.expr | None) -> bool:
    text = "" if annotation is None else ast.unparse(annotation)
    return bool(NUMERIC.search(text)) and not text.startswith("Callable")


def parameters_of(node: Function) -> list[ast.arg]:
    return [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]


def core_functions_without_units() -> Iterator[str]:
    for where, node in public_core_functions():
        docstring = ast.get_docstring(node) or ""
        described, returned = section(docstring, "Parameters"), section(docstring, "Returns")
        for parameter in parameters_of(node):
            text = entry(described, parameter.arg)
            if text is None or (is_numeric(parameter.annotation) and not UNIT_CLOSES_LINE.search(text)):
                yield f"{where}({parameter.arg})"
        gives = node.returns is not None and ast.unparse(node.returns) != "None"
        if gives and (not returned or (is_numeric(node.returns) and not UNIT_CLOSES_LINE.search(returned))):
            yield f"{where} -> returns"


def core_functions_that_cite_without_references() -> Iterator[str]:
    for where, node in public_core_functions():
        docstring = ast.get_docstring(node) or ""
        if CITES.search(docstring) and not section(docstring, "References"):
            yield where


def long_files() -> Iterator[str]:
    for path in modules(*PACKAGES, "tests"):
        if len((ROOT / path).read_text(encoding="utf-8").splitlines()) > MOST_LINES:
            yield path


def long_functions() -> Iterator[str]:
    for where, node in functions(*PACKAGES, "tests"):
        docstring = ast.get_docstring(node, clean=False) or ""
        lines = (node.end_lineno or node.lineno) - node.lineno + 1 - docstring.count("\n")
        if lines > MOST_FUNCTION_LINES:
            yield where


def crowded_functions() -> Iterator[str]:
    for where, node in functions(*PACKAGES):
        if len(node.args.posonlyargs) + len(node.args.args) > MOST_POSITIONAL:
            yield where


def imports_inside_functions() -> Iterator[str]:
    """Only a reader may load its format's own library on first use."""
    for where, node in functions(*PACKAGES):
        inside = (inner for inner in ast.walk(node) if isinstance(inner, ast.Import | ast.ImportFrom))
        if any(inside) and not where.startswith("analysis/readers/"):
            yield where


def apps_without_migrations() -> Iterator[str]:
    """Django passes over the models of an app that lacks this package, without a word."""
    for path in modules(*PACKAGES):
        app = (ROOT / path).parent
        has_models = (app / "models.py").exists() or (app / "models").is_dir()
        if path.endswith("/apps.py") and has_models and not (app / "migrations" / "__init__.py").exists():
            yield path


RULES: list[Callable[[], Iterator[str]]] = [
    core_functions_without_units,
    core_functions_that_cite_without_references,
    long_files,
    long_functions,
    crowded_functions,
    imports_inside_functions,
    apps_without_migrations,
]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_the_house_has_none_of(rule):
    assert sorted(set(rule()) - EXEMPT.keys()) == []


def test_no_exemption_has_become_needless():
    assert sorted(EXEMPT.keys() - {finding for rule in RULES for finding in rule()}) == []


def test_the_layers_hold():
    command = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))"
    done = subprocess.run([sys.executable, "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_session_estimator_loads_neither_the_web_nor_what_it_does_not_need():
    heavy = ("django", "rest_framework", "celery", "reportlab", "pyarrow", "fitdecode", "scipy.stats")
    command = f"import sys, analysis.core.session; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.stdout.strip(), done.stderr) == ("[]", "")


SHORT = '''
def density(temperature_k: float, label: str) -> float:
    """Density by Picard et al. (2008).

    Parameters
    ----------
    temperature_k : float
        Air temperature{unit}.
    label : str
        Where.

    Returns
    -------
    float
        Density [kg/m3].
    """
'''


@pytest.mark.parametrize(("unit", "findings"), [(" [K]", []), ("", ["x.py:density(temperature_k)"])])
def test_the_reading_of_docstrings_sees_a_missing_unit(monkeypatch, unit, findings):
    tree = ast.parse(SHORT.replace("{unit}", unit))
    monkeypatch.setattr(sys.modules[__name__], "modules", lambda *_: {"x.py": tree})
    assert list(core_functions_without_units()) == findings
    assert list(core_functions_that_cite_without_references()) == ["x.py:density"]
