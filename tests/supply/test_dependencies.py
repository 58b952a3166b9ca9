"""DEPENDENCIES.md is the table of what is locked, and every licence in it goes with MIT."""

from __future__ import annotations

import re

import pytest

from tests.supply import dependencies, locks

TABLE = dependencies.read()
OF_USERS = locks.asked().keys() - {"build", "peers", "dev", "browser", "fuzz", "mutants", "release"}


def test_the_table_is_of_what_is_locked() -> None:
    """Where this fails, the locks were made anew and the table was not: `python -m tests.supply dependencies`."""
    held: dict[str, list[str]] = {}
    for one in locks.pins():
        versions = held.setdefault(one.name, [])
        if one.version not in versions:
            versions.append(one.version)
    assert {row["library"]: row["locked"] for row in TABLE} == {
        name: " and ".join(versions) for name, versions in held.items()
    }


def test_every_licence_goes_with_ours() -> None:
    """A permissive one, or a reason why it is all right beside; and no reason for what is not there or needs none."""
    doubtful = {row["library"] for row in TABLE
                if row["licence"] != dependencies.NOT_HERE and dependencies.doubtful(row["licence"])}  # fmt: skip
    assert doubtful == dependencies.REASONS.keys()


def test_what_has_no_reason_is_named() -> None:
    assert dependencies.doubtful("GPL-3.0-only") == {"GPL-3.0-only"}
    assert dependencies.doubtful("MIT AND (LGPL-3.0-only OR ISC)") == {"LGPL-3.0-only"}
    assert dependencies.doubtful(dependencies.UNKNOWN) == {dependencies.UNKNOWN}
    assert not dependencies.doubtful("BSD; BSD-3-Clause")


@pytest.mark.parametrize("name", sorted(dependencies.REASONS))
def test_what_is_for_tests_only_is_not_asked_for_by_the_wheel(name: str) -> None:
    """Who says "for tests and releases only" is reached from no extra but those for working on the project."""
    reason = dependencies.REASONS[name]
    if dependencies.NOT_SHIPPED not in reason:
        return
    by: dict[str, set[str]] = {}
    for one in locks.pins():
        by.setdefault(one.name, set()).update(one.asked_by)
    above, new = {name}, {name}
    while new:
        new = {up for one in new for up in by.get(one, ())} - above
        above |= new
    users = {one.name for group in OF_USERS
             for one in locks.asked()[group]}  # fmt: skip
    assert not above & users, above & users


def test_every_library_has_a_day() -> None:
    """Of its last release, or the table says that the index gives none."""
    for row in TABLE:
        assert re.match(r"20\d\d-\d\d-\d\d( \(\S+\))?$|unknown$", row["last release"]), row
    for group in OF_USERS:
        for one in locks.asked()[group]:
            row = next(row for row in TABLE if row["library"] == one.name.lower())
            assert group in row["needed for"], row
