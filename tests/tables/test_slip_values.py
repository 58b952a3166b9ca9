"""What slips put down, where a folder says it: taken as it stands, checked, and computed where it is not said."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from scarfdate import PriorsError, Scarf, date_scarf, load_priors
from scarfdate.tables.priors import shipped_folder

HEADER = "family,value,share,basis,source,note\n"


def with_rows(folder: Path, *rows: tuple[str, str, float]) -> Path:
    shutil.copytree(shipped_folder(), folder)
    lines = [f"{family},{value},{share!r},memory,,\n" for family, value, share in rows]
    (folder / "slip_values.csv").write_text(HEADER + "".join(lines), "utf-8")
    return folder


def test_what_is_said_goes_before_what_is_computed(tmp_path: Path) -> None:
    """Slips of the thread that all put down polyester make polyester weaker evidence, and cotton stronger."""
    usual = load_priors()
    own = load_priors(with_rows(tmp_path / "own", ("hem_thread", "polyester", 100)))
    place = usual.vocabulary.values["hem_thread"].index("polyester")
    assert own.usual_shares["hem_thread"][place] == 1
    np.testing.assert_array_equal(own.usual_shares["fibre"], usual.usual_shares["fibre"])
    assert own.hash != usual.hash

    def early(thread: str, priors: object) -> float:
        dated = date_scarf(Scarf(hem_thread=thread), priors=priors, as_of=2026)
        return float(dated.probability[:60].sum())

    assert early("polyester", own) > early("polyester", usual)


def test_the_shares_that_are_computed_may_be_said_as_well(tmp_path: Path) -> None:
    usual = load_priors()
    values = usual.vocabulary.values["hem_thread"]
    shares = 100 * usual.usual_shares["hem_thread"]
    said = [
        ("hem_thread", value, float(share)) for value, share in zip(values, shares, strict=True)
    ]
    own = load_priors(with_rows(tmp_path / "own", *said))
    for thread in values:
        before, after = (
            date_scarf(Scarf(hem_thread=thread), priors=priors, as_of=2026).probability
            for priors in (usual, own)
        )
        np.testing.assert_allclose(after, before, atol=1e-12)


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        (("hem_threat", "silk", 100.0), "hem_thread"),
        (("hem_thread", "silc", 100.0), "silk"),
        (("hem_thread", "silk", 99.0), "add up to 100"),
        (("hem_thread", "silk", 101.0), "share"),
        (("hem_thread", "silk", -1.0), "share"),
        (("long_side", "silk", 100.0), "family"),
    ],
)
def test_what_cannot_be_is_refused(row: tuple[str, str, float], fault: str, tmp_path: Path) -> None:
    with pytest.raises(PriorsError, match=rf"(?s)slip_values\.csv.*{fault}"):
        load_priors(with_rows(tmp_path / "own", row))


def test_a_value_stands_once(tmp_path: Path) -> None:
    twice = ("hem_thread", "silk", 50.0)
    with pytest.raises(PriorsError, match=r"(?s)slip_values\.csv"):
        load_priors(with_rows(tmp_path / "own", twice, twice))
