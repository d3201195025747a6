"""Every public name says what it does, every command shows how it is used."""

from __future__ import annotations

import ast
import importlib
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.cli import COMMANDS, build_parser

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("imu", "app")

FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)
Documented = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef


def modules() -> list[Path]:
    return [file for package in PACKAGES for file in sorted((ROOT / package).rglob("*.py"))]


def is_promise(node: Documented) -> bool:
    """A method of a protocol: its body is an ellipsis alone, and the class says what it is for."""
    (first, *rest) = node.body
    value = first.value if isinstance(first, ast.Expr) else None
    return not rest and isinstance(value, ast.Constant) and value.value is Ellipsis


def public_nodes(tree: ast.Module) -> Iterator[Documented]:
    """The module, its public functions and classes, and the public methods of those."""
    yield tree
    for node in tree.body:
        if isinstance(node, FUNCTIONS) and not node.name.startswith("_"):
            yield node
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield node
            yield from methods(node)


def methods(node: ast.ClassDef) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Public methods of a class."""
    for inner in node.body:
        if isinstance(inner, FUNCTIONS) and not inner.name.startswith("_"):
            yield inner


def protocol_methods() -> set[str]:
    """Methods that a protocol explains: whoever keeps the protocol need not say it again."""
    explained = set()
    for file in modules():
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and any(
                getattr(base, "id", "") == "Protocol" for base in node.bases
            ):
                explained |= {inner.name for inner in methods(node) if ast.get_docstring(inner)}
    return explained


@pytest.mark.parametrize("package", PACKAGES)
def test_every_public_name_has_a_docstring(package: str) -> None:
    bare, explained = [], protocol_methods()
    for file in sorted((ROOT / package).rglob("*.py")):
        source = file.read_text(encoding="utf-8")
        if not source.strip():
            continue
        for node in public_nodes(ast.parse(source)):
            name = getattr(node, "name", "(module)")
            promised = not isinstance(node, ast.Module) and is_promise(node)
            if not (ast.get_docstring(node) or promised or name in explained):
                bare.append(f"{file.relative_to(ROOT)}: {name}")
    assert bare == []


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_shows_examples_that_parse(command: str) -> None:
    module = importlib.import_module(f"app.commands.{command}{'_' * (command == 'import')}")
    assert module.HELP.strip()
    examples = [
        line.strip()
        for line in module.EXAMPLES.splitlines()
        if line.strip().startswith("swingspread ")
    ]
    assert examples, f"{command}: no example"
    for line in examples:
        words = shlex.split(line.split("  #")[0])
        options = build_parser().parse_args(words[1:])
        assert options.command == command


def test_quick_help_loads_no_heavy_library() -> None:
    """`--help` answers at once: the numeric libraries are imported by the command that runs."""
    heavy = ("pandas", "pyarrow", "dash", "plotly", "bleak", "scipy")
    probe = (
        "import sys; from app.cli import build_parser; build_parser().format_help(); "
        f"print([name for name in {heavy!r} if name in sys.modules])"
    )
    answer = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert answer.stdout.strip() == "[]"


def test_the_readme_has_two_set_up_commands_and_no_more() -> None:
    """One that runs the main job, one that runs the tests, each from a bare Python."""
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    commands = [line for line in lines if line.startswith("python3 -m venv")]
    assert len(commands) == 2
    assert commands[0].endswith("swingspread demo")
    assert commands[1].endswith("pytest")
