"""What is installed with the tool: pinned, hashed, needed, and under licences that go with ours.

Advisories are asked for by hand (see "The lock" in DEVELOPERS.md); what stands here needs no
network. Licences as the packages state them in their own metadata (PEP 639, PEP 566), by the
identifiers of the SPDX licence list.
"""

from __future__ import annotations

import importlib.metadata as metadata
import re
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).resolve().parents[2]
LOCK = (ROOT / "requirements.lock").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

PERMISSIVE = {
    "0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "HPND", "ISC", "MIT", "MIT-0",
    "MIT-CMU", "PSF-2.0", "Zlib", "ZPL-2.1",
}  # fmt: skip
FILE_BY_FILE = {"MPL-2.0"}
"""Binds changes to its own files alone, of which we make none."""
FOR_TESTS_ALONE = {"GPL-3.0-or-later", "LGPL-2.1-or-later"}
"""Run beside ours in the tests, neither linked with nor handed on with the tool."""

CLASSIFIED = {
    "MIT License": "MIT",
    "BSD License": "BSD-3-Clause",
    "Apache Software License": "Apache-2.0",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Python Software Foundation License": "PSF-2.0",
    "Zope Public License": "ZPL-2.1",
}
WRITTEN_OUT = {"MIT": "MIT", "Apache-2.0": "Apache-2.0", "BSD": "BSD-3-Clause"}
STATED_ELSEWHERE = {
    "spm1d": "GPL-3.0-or-later",
    "colorama": "BSD-3-Clause",
    "pyobjc-core": "MIT",
    "pyobjc-framework-cocoa": "MIT",
    "pyobjc-framework-corebluetooth": "MIT",
    "pyobjc-framework-libdispatch": "MIT",
}
"""Silent metadata, or installed on other systems only: from memory of their own pages."""
FAMILIES = {"winrt-": "MIT"}

SYSTEMS = [
    {"sys_platform": system, "platform_system": name, "os_name": kind, "python_version": python,
     "python_full_version": f"{python}.0"}
    for system, name, kind in (("linux", "Linux", "posix"), ("darwin", "Darwin", "posix"),
                               ("win32", "Windows", "nt"))
    for python in ("3.11", "3.12", "3.13", "3.14")
]  # fmt: skip
"""Where the lock must serve."""

NEEDED_BY = {"pyobjc-framework-cocoa": "pyobjc-framework-corebluetooth"}
"""Needs that only other systems' packages state, which are not installed here."""


def blocks(text: str) -> Iterator[tuple[Requirement, list[str]]]:
    """Each pin of a lock with its hashes."""
    for block in re.split(r"\n(?=[A-Za-z0-9])", text.partition("\n")[2]):
        first, *rest = [line.rstrip(" \\") for line in block.splitlines() if line.strip()]
        if not first.startswith("#"):
            yield Requirement(first.strip()), [line.strip() for line in rest]


PINS = list(blocks("\n" + LOCK))
PINNED = {canonicalize_name(pin.name) for pin, _ in PINS}


def applies(marker: Marker | None, extras: Iterable[str]) -> bool:
    """Whether a need holds on one of the systems at least."""
    if marker is None:
        return True
    wanted = [*extras, ""]
    return any(marker.evaluate({**one, "extra": extra}) for one in SYSTEMS for extra in wanted)


def reached(needs: Iterable[str]) -> set[str]:
    """Names of all that these requirements need, and so on, as far as it is installed here."""
    found: set[tuple[str, str]] = set()
    waiting = [Requirement(need) for need in needs]
    while waiting:
        need = waiting.pop()
        name = canonicalize_name(need.name)
        for extra in ("", *need.extras):
            if (name, extra) in found:
                continue
            found.add((name, extra))
            try:
                further = metadata.requires(name) or []
            except metadata.PackageNotFoundError:
                continue
            ours = [Requirement(text) for text in further]
            waiting += [one for one in ours if applies(one.marker, [extra] if extra else [])]
    names = {name for name, _ in found}
    return names | {name for name, by in NEEDED_BY.items() if by in names}


SHIPPED = reached(PROJECT["dependencies"])
EVERY = reached([*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"], "setuptools"])


def licences(name: str) -> set[str]:
    """SPDX identifiers a package states, empty when it states none we can read."""
    family = next((one for start, one in FAMILIES.items() if name.startswith(start)), "")
    if said := STATED_ELSEWHERE.get(name, family):
        return {said}
    facts = metadata.metadata(name)
    if expression := facts.get("License-Expression"):
        alternatives = [set(re.findall(r"[\w.+-]+", part)) for part in expression.split(" OR ")]
        parts = [part - {"AND", "WITH"} for part in alternatives]
        return next((part for part in parts if part <= PERMISSIVE), parts[0])
    kinds = [one.split(" :: ")[-1] for one in facts.get_all("Classifier") or ()]
    if stated := {CLASSIFIED[kind] for kind in kinds if kind in CLASSIFIED}:
        return stated
    written = (facts.get("License") or "").strip()
    return {WRITTEN_OUT[written]} if written in WRITTEN_OUT else set()


def test_every_pin_is_exact_and_hashed() -> None:
    assert len(PINS) > 100
    for pin, hashes in PINS:
        assert [one.operator for one in pin.specifier] == ["=="], pin
        assert not Version(next(iter(pin.specifier)).version).is_prerelease, pin
        assert hashes and all(re.fullmatch(r"--hash=sha256:[0-9a-f]{64}", one) for one in hashes)
        assert len(hashes) == len(set(hashes)), pin


def test_the_lock_names_no_address_and_no_file() -> None:
    assert "://" not in LOCK
    assert not re.search(r"^\s*-(?!-hash=sha256:)", LOCK, re.MULTILINE)
    assert all(pin.url is None for pin, _ in PINS)


def test_each_system_gets_one_version_of_a_package() -> None:
    for system in SYSTEMS:
        names = [
            canonicalize_name(pin.name)
            for pin, _ in PINS
            if pin.marker is None or pin.marker.evaluate({**system, "extra": ""})
        ]
        assert len(names) == len(set(names)), system


def test_nothing_is_pinned_that_nothing_needs_and_all_that_is_needed_is_pinned() -> None:
    assert sorted(PINNED - EVERY) == []
    assert sorted(EVERY - PINNED) == []


@pytest.mark.parametrize("name", sorted(EVERY))
def test_a_licence_goes_with_ours(name: str) -> None:
    assert PROJECT["license"] == "MIT"
    try:
        stated = licences(name)
    except metadata.PackageNotFoundError:
        pytest.fail(f"{name}: not installed here; state its licence in STATED_ELSEWHERE")
    assert stated, f"{name}: states no licence that can be read"
    allowed = PERMISSIVE | FILE_BY_FILE | (set() if name in SHIPPED else FOR_TESTS_ALONE)
    assert stated <= allowed, f"{name}: {', '.join(sorted(stated - allowed))}"


def test_a_licence_that_binds_the_whole_is_seen() -> None:
    assert "spm1d" not in SHIPPED and "libusb1" not in SHIPPED
    assert licences("spm1d") <= FOR_TESTS_ALONE
    assert not licences("spm1d") <= PERMISSIVE | FILE_BY_FILE


def test_an_unneeded_pin_and_a_missing_hash_are_seen() -> None:
    spoilt = LOCK + "left-over==1.0\n"
    pins = list(blocks("\n" + spoilt))
    assert [hashes for pin, hashes in pins if pin.name == "left-over"] == [[]]
    assert "left-over" not in EVERY
