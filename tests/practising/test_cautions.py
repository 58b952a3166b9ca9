"""Where a hint speaks of a test that can hurt or harm, its caution stands beside it."""

from __future__ import annotations

import re

import pytest
from click.testing import CliRunner

from scarfdate import Scarf, appraise, load_priors
from scarfdate.cli import cli
from scarfdate.tables.lists import caution_of, cautions

HURTS = re.compile(r"\b(burn|melt|acetone|dissolve|glow|flame|lamp|water)", re.IGNORECASE)
PRIORS = load_priors()


def test_every_pair_that_speaks_of_such_a_test_names_it() -> None:
    assert PRIORS.practice is not None
    for pair in PRIORS.practice.pairs:
        if HURTS.search(pair.says) and "seem to glow" not in pair.says:
            assert caution_of(PRIORS.checks, pair.family, pair.test), pair.says


def test_a_round_tells_the_caution_with_the_hint() -> None:
    bets = "1950s 2, 1960s 2, 1970s 2, 1980s 2, 1990s 2\n" * 60
    asked = ["practice", "--seed", "5", "--level", "fibres", "--rounds", "12", "--as-of", "2026"]
    said = " ".join(CliRunner().invoke(cli, asked, input=bets).output.split())
    hint = "dissolves in acetone; rayon does not."
    assert said.count(hint) == said.count(f"{hint} Take care: acetone catches fire") > 0


@pytest.mark.parametrize("clue", ["uv_glow", "fibre_method"])
def test_the_list_of_words_tells_it(clue: str) -> None:
    assert "Take care" in str(PRIORS.words(clue))
    assert "Take care" not in str(PRIORS.words("hem"))


def test_cautions_are_those_of_the_table() -> None:
    assert cautions(PRIORS.checks, "burn")
    assert caution_of(PRIORS.checks, "hem", "feel") == ""


def test_an_appraisal_tells_what_to_beware_of() -> None:
    text = str(appraise(Scarf(fibre="silk"), 3, condition="smells of mothballs"))
    assert "the fumes can harm you" in text
    assert "the fumes" not in str(appraise(Scarf(fibre="silk"), 3, condition="small stain"))
