"""The references in the documents say what the code does today."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

_spec = importlib.util.spec_from_file_location(
    "reference", Path(__file__).with_name("reference.py")
)
assert _spec and _spec.loader
reference = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(reference)


@pytest.mark.parametrize(
    ("document", "name"),
    [(document, name) for document, names in reference.REFERENCES.items() for name in names],
)
def test_the_reference_is_up_to_date(document: str, name: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    fresh = reference.with_reference(text, name, reference.REFERENCES[document][name]())
    assert text == fresh, "run: python tests/house/reference.py"


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_every_path_the_documents_name_exists(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    named = re.findall(r"`((?:imu|app|tests|recordings|firmware_notes|\.ci)/[\w./-]*)`", text)
    assert named, f"{document} names no file: the pattern of this test is out of date"
    missing = [path for path in named if not (ROOT / path).exists()]
    assert missing == []


def test_links_within_the_house_lead_somewhere() -> None:
    for document in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / document).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            if "://" not in target:
                assert (ROOT / target).exists(), f"{document}: {target}"
