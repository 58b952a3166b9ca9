"""A release is the same bytes whoever builds it, and holds what it should and nothing else."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest

from tests.supply import builds

pytest.importorskip("hatchling")


@pytest.mark.slow
def test_the_same_bytes_twice_and_nothing_that_should_not_be_there(tmp_path: Path) -> None:
    first, differ = builds.twice(tmp_path)
    assert len(first) == 2 and not differ
    dist = tmp_path / "one" / "dist"
    assert not builds.looked_into(dist)

    # what is looked for is found: a cache, a test, a path of the builder, and something missing
    wheel = next(dist.glob("*.whl"))
    spoiled = tmp_path / "spoiled" / wheel.name
    spoiled.parent.mkdir()
    shutil.copy(next(dist.glob("*.gz")), spoiled.parent)
    with zipfile.ZipFile(wheel) as whole, zipfile.ZipFile(spoiled, "w") as other:
        for name in whole.namelist():
            if not name.endswith(("scarfdate/errors.py", "licenses/LICENSE")):
                other.writestr(name, whole.read(name))
        other.writestr("scarfdate/__pycache__/errors.cpython-311.pyc", b"")
        other.writestr(
            zipfile.ZipInfo("tests/test_cli.py", (1999, 1, 1, 0, 0, 0)), str(builds.ROOT)
        )
    told = " ".join(builds.looked_into(spoiled.parent))
    for part in ("has scarfdate/__pycache__", "has tests/", "lacks scarfdate/errors.py", "licenses/LICENSE",
                 "names a folder of this machine", "times or owners"):  # fmt: skip
        assert part in told, (part, told)
