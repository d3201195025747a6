"""Every public name says what it does, every command shows how it is used."""

from __future__ import annotations

import ast
import importlib
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.cli import COMMANDS, build_parser

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("imu", "app")

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
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            if node.name.startswith("_"):
                continue
            yield node
            if isinstance(node, ast.ClassDef):
                for inner in node.body:
                    is_method = isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef)
                    if is_method and not inner.name.startswith("_") and not is_promise(inner):
                        yield inner


@pytest.mark.parametrize("package", PACKAGES)
def test_every_public_name_has_a_docstring(package: str) -> None:
    bare = []
    for file in sorted((ROOT / package).rglob("*.py")):
        source = file.read_text(encoding="utf-8")
        if not source.strip():
            continue
        for node in public_nodes(ast.parse(source)):
            if not ast.get_docstring(node):
                name = getattr(node, "name", "(module)")
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


def test_the_lock_pins_every_dependency_with_hashes() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    names = {
        word.split(">")[0].split("[")[0].split("=")[0].split(";")[0].strip().lower()
        for word in wanted
    } | {"setuptools"}
    blocks = (ROOT / "requirements.lock").read_text(encoding="utf-8").split("\n")
    pins = [line for line in blocks if line and line[0].isalnum()]
    pinned = {line.split("==")[0].lower().replace("_", "-") for line in pins}
    assert {name.replace("_", "-") for name in names} - pinned == set()
    assert all(" \\" in line for line in pins)


def test_the_readme_has_two_set_up_commands_and_no_more() -> None:
    """One that runs the main job, one that runs the tests, each from a bare Python."""
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    commands = [line for line in lines if line.startswith("python3 -m venv")]
    assert len(commands) == 2
    assert commands[0].endswith("swingspread demo")
    assert commands[1].endswith("pytest")
