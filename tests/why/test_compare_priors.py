"""Which pieces move under other tables, by how much and by which file; composed cases, no source."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from scarfdate import ScarfdateError, compare_priors, date_scarf, load_priors
from scarfdate.cli import cli
from scarfdate.tables.priors import Priors
from scarfdate.tables.schema import shipped_folder
from scarfdate.why.compare_priors import exchanged

PILE = pd.DataFrame(
    {"id": ["hem", "glow"], "hem": ["overlocked", ""], "uv_glow": ["", "bright"], "fibre": "silk"}
)


def moved_on(name: str, folder: Path, by: int) -> None:
    """A copy of a shipped table with its later knots some years later."""
    table = pd.read_csv(shipped_folder() / name, dtype=str, keep_default_na=False)
    year = table["year"].astype(int)
    table["year"] = year.where((year == 1880) | (year == 2025), np.minimum(year + by, 2024)).astype(
        str
    )
    table = table.drop_duplicates(["year", "grade"])
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    table.to_csv(folder / name, index=False)


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Priors:
    folder = tmp_path_factory.mktemp("later hems")
    moved_on("shares/hem.csv", folder, 8)
    return load_priors(folder)


def test_one_file_explains_the_whole_move(other: Priors) -> None:
    old = load_priors()
    found = compare_priors(old, other, PILE, as_of=2026)
    assert found.files == (("shares/hem.csv",),)
    hem, glow = found.pieces
    before, after = (
        date_scarf({"hem": "overlocked", "fibre": "silk"}, priors=p, as_of=2026)
        for p in (old, other)
    )
    assert hem.median == (before.median, after.median)
    assert hem.interval == (before.interval(0.8), after.interval(0.8))
    apart = np.abs(after.probability - before.probability).sum() / 2
    assert apart > 0.01
    assert hem.apart == pytest.approx(apart)
    assert found.apart[0, 0] == pytest.approx(apart)  # put in first or last: the same, being alone
    mean = float((after.probability - before.probability) @ before.years)
    assert found.years[0, 0] == pytest.approx(mean)
    assert hem.by == 0
    assert glow.by is None and glow.moved == 0 and glow.apart == 0
    text = str(found)
    assert "hem:" in text and "shares/hem.csv" in text and "glow:" not in text
    assert list(found.to_frame()["id"]) == ["hem", "glow"]
    assert list(found.by_file()["most"]) == ["hem"]


def test_hills_share_out_the_whole_answer(other: Priors) -> None:
    for piece in compare_priors(load_priors(), other, PILE, as_of=2026).pieces:
        for side in (0, 1):
            assert sum(hill.chance[side] for hill in piece.hills) == pytest.approx(1)
        for hill in piece.hills:
            assert all(hill.years[0] <= middle <= hill.years[1] for middle in hill.median)


def test_the_same_tables_move_nothing() -> None:
    found = compare_priors(load_priors(), load_priors(), PILE)
    assert found.files == () and all(piece.moved == 0 for piece in found.pieces)
    assert str(found) == "The two folders hold the same tables: nothing moves."


@pytest.mark.slow
def test_files_that_need_each_other_are_exchanged_together() -> None:
    """A channel of its own: no channels.csv loads without the column that it names."""
    now = dict(load_priors().files)
    was = dict(now)
    lines = [
        line
        for line in now["channels.csv"].decode().splitlines()
        if "rack" not in line.split(",")[1:4]
    ]
    was["channels.csv"] = "\n".join(lines).encode() + b"\n"
    cut = pd.read_csv(shipped_folder() / "year_channel.csv", dtype=str, keep_default_na=False)
    was["year_channel.csv"] = cut.drop(columns="rack").to_csv(index=False).encode()
    was["slips.csv"] = now["slips.csv"] + b"\n"
    groups = exchanged(was, now)
    assert ("slips.csv",) in groups
    assert ("channels.csv", "year_channel.csv") in groups
    assert len(groups) == 2


def test_bad_folders_and_bad_tables_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ScarfdateError, match="load_priors"):
        compare_priors("priors", load_priors())  # type: ignore[arg-type]
    shipped = str(shipped_folder())
    nowhere = CliRunner().invoke(cli, ["compare-priors", shipped, str(tmp_path / "nowhere")])
    assert nowhere.exit_code == 2 and "there is no such folder" in nowhere.output
    (tmp_path / "slips.csv").write_text("family,slip\n")
    broken = CliRunner().invoke(cli, ["compare-priors", shipped, str(tmp_path)])
    assert broken.exit_code == 2 and "slips.csv" in broken.output
