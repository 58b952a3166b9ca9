"""What is kept from one folder of priors to the next is never that of a folder that was refused."""

from __future__ import annotations

import pytest

from scarfdate import PriorsError, load_priors
from scarfdate.tables import contents
from scarfdate.tables.priors import priors_of_files


@pytest.mark.parametrize("kind", [",shares,", ",measured,", ",label,"])
def test_a_refused_folder_takes_no_words_from_a_good_one(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a family its rows of ``doubt.csv`` are faults; they are rows all the same where the family is there."""
    monkeypatch.setattr(contents, "_KEPT", {})
    files = dict(load_priors().files)
    lines = files["families.csv"].decode().splitlines()
    spoiled = "\n".join([lines[0], *(one for one in lines[1:] if kind not in one)]) + "\n"
    with pytest.raises(PriorsError):
        priors_of_files({**files, "families.csv": spoiled.encode()}, "spoiled")
    good = priors_of_files(files, "good")
    assert {one.family for one in good.doubt} > {"", "motif", "palette"}
    assert good.vocabulary.rows.keys() == load_priors().vocabulary.rows.keys()
    assert len(good.medium.phrases) == len(load_priors().medium.phrases)
