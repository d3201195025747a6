"""Makes the helpers beside the tests importable, and the C reference from its sources."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

REFERENCE = Path(__file__).resolve().parents[2] / "firmware_notes" / "reference"


@pytest.fixture(scope="session")
def vector_check(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The checking tool of the C reference, compiled with every warning an error."""
    compiler = next((c for c in ("cc", "gcc", "clang") if shutil.which(c)), None)
    if compiler is None:
        pytest.skip("no C compiler here: the C reference is not checked")
    program = tmp_path_factory.mktemp("reference") / "vector_check"
    sources = sorted(str(path) for path in REFERENCE.glob("*.c"))
    warnings = ["-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Werror"]
    subprocess.run([compiler, "-std=c99", *warnings, "-o", str(program), *sources], check=True)
    return program
