"""The locks are what pyproject asks for, by hashes alone, from no index in particular, on both interpreters."""

from __future__ import annotations

import re

import pytest
from packaging.requirements import Requirement

from tests.supply import ROOT, locks

HELD = locks.pins()
TEXTS = {
    layer: (locks.LOCKS / f"{layer}.txt").read_text(encoding="utf-8") for layer in locks.LAYERS
}


def test_the_locks_are_up_to_date() -> None:
    """Where this fails, pyproject.toml was changed and the locks were not: it says how they are made anew."""
    assert not locks.faults()


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("numpy>=99", "pyproject asks for numpy>=99, the lock has 2"),
        ("no-such-library>=1", "the lock has nothing"),
        ("numpy>=99; python_version < '3.12'", "^3.11, run"),
    ],
)
def test_a_lock_out_of_date_is_told(line: str, fault: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(locks, "asked", lambda: {"run": [Requirement(line)]})
    found = locks.faults()
    assert len(found) == (1 if ";" in line else len(locks.PYTHONS))
    assert re.search(fault, found[0]) and found[0].endswith(f"run `{locks.AGAIN}`")


def test_no_more_is_locked_than_is_asked_for() -> None:
    """Each entry is asked for by pyproject, by the build or by another entry."""
    names = {one.name for one in HELD} | {"scarfdate", "build"}
    for one in HELD:
        assert one.asked_by and set(one.asked_by) <= names, one


def test_every_release_has_hashes_and_no_file_an_address() -> None:
    for layer, text in TEXTS.items():
        for block in locks.blocks(text):
            assert len(re.findall(r"--hash=sha256:[0-9a-f]{64}\b", block)) >= 1, block
        bare = re.sub(
            r"(?m)^# Layer .*$|^ +--hash=\S+(?: \\)?$|^ +# ?.*$|^[\w.-]+==\S+(?: ; .+)? \\$",
            "",
            text,
        )
        assert not bare.split(), (
            layer,
            bare.split()[:5],
        )  # nothing but releases, hashes and who asked
        assert "://" not in text and str(ROOT) not in text, layer


@pytest.mark.parametrize("python", locks.PYTHONS)
def test_one_release_of_each_library_on_one_interpreter(python: str) -> None:
    """Also where two layers hold the same: the reverse would be refused by pip at the first install."""
    found: dict[str, str] = {}
    for one in HELD:
        if one.holds(python):
            assert found.setdefault(one.name, one.version) == one.version, one
    assert found["pandas"].startswith("2." if python == "3.11" else "3.")
    assert found["pymc"].startswith("5." if python == "3.11" else "6.")


def test_ci_installs_from_the_locks_alone() -> None:
    """pip takes each layer by its hashes, and whatever else installs finds no index."""
    script = ROOT / ".ci" / "run"
    if not script.exists():
        pytest.skip("a release holds the tests without .ci/run")
    lines = [line.strip() for line in script.read_text(encoding="utf-8").splitlines()]
    lines = [line for line in lines if not line.startswith(("#", "echo"))]
    layers = " ".join(line for line in lines if line.startswith("locked "))
    # mutants are a command of their own, which takes hours
    assert all(f"{layer}.txt" in layers for layer in locks.LAYERS if layer != "mutants")
    assert any("PIP_NO_INDEX=1" in line for line in lines)
    for line in lines:
        if re.search(r"pip\"? install", line):
            assert "--require-hashes" in line or line.startswith("without_index "), line
