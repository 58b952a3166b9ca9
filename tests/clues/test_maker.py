"""A maker of the file: its output year by year, and its form of signature in the place of the signature."""

from __future__ import annotations

import numpy as np
import pytest

from scarfdate import Priors, Scarf, date_scarf
from scarfdate.clues.clue import Asked
from scarfdate.model.model import compiled

AS_OF = 2010


def forms(priors: Priors) -> list[tuple[str, str]]:
    """Makers and the forms of their signature that the file tells apart."""
    words = priors.vocabulary.values["signature"]
    known = priors.makers
    return [(maker, form) for maker in known.names for form in words if known.has_form(maker, form)]


def test_a_signature_of_the_file_is_not_counted_twice(priors: Priors) -> None:
    """P(year | maker, form) over P(year) is the output of the form's windows, with the slip, and nothing more."""
    prior = date_scarf(Scarf(), as_of=AS_OF)
    years, slip = np.asarray(prior.years), priors.slips["maker"]
    pairs = forms(priors)
    assert pairs
    for maker, form in pairs:
        seen = {"maker": priors.makers.names[maker], "signature": form}
        found = date_scarf(Scarf(priors=priors, **seen), as_of=AS_OF)
        output = np.sum([w.output(years) for w in priors.makers.of(maker, form)], axis=0)
        law = (1 - slip) * output / output.sum() + slip / len(years)
        expected = prior.probability * law / (prior.probability @ law)
        np.testing.assert_allclose(found.probability, expected, rtol=1e-9)


def test_a_maker_without_a_form_leaves_the_signature_its_say(priors: Priors) -> None:
    maker = next(m for m in priors.makers.names if not priors.makers.has_form(m, "large"))
    alone = date_scarf(Scarf(priors=priors, maker=priors.makers.names[maker]), as_of=AS_OF)
    signed = Scarf(priors=priors, maker=priors.makers.names[maker], signature="large")
    assert np.abs(date_scarf(signed, as_of=AS_OF).probability - alone.probability).max() > 1e-4


def test_a_name_that_is_not_in_the_file_says_nothing(priors: Priors) -> None:
    name = next(iter(priors.makers.names.values()))
    near = date_scarf(Scarf(maker=f"{name}e"), as_of=AS_OF)
    far = date_scarf(Scarf(maker="zzzzqqqq"), as_of=AS_OF)
    assert any(f"did you mean {name}?" in one or f"{name} or" in one for one in near.warnings)
    assert any("zzzzqqqq" in one and "did you mean" not in one for one in far.warnings)
    assert np.array_equal(far.probability, date_scarf(Scarf(), as_of=AS_OF).probability)


def test_behind_a_year_stands_the_window_nearest_to_it(priors: Priors) -> None:
    model = compiled(priors, "thrift", AS_OF)
    clue = model.clues[model.column["maker"]]
    for maker, windows in priors.makers.windows.items():
        for window in windows:
            for edge in (window.year_from, window.year_to):
                ends = [e for w in windows if w != window for e in (w.year_from, w.year_to)]
                if edge not in ends:
                    behind = clue.behind((maker, ""), Asked(edge, True, "fine", "us"))
                    assert behind.row == window.basis


@pytest.mark.parametrize("year", [1000, 1500, 1700])
def test_what_is_older_than_the_table_of_lags_reaches_dates_nothing(year: int) -> None:
    """Pieces that show things of long ago are as rare as the last lag of the table, whenever they were made."""
    old = date_scarf(Scarf(depicted_year=year), as_of=AS_OF).probability
    assert np.abs(old[1:] / date_scarf(Scarf(), as_of=AS_OF).probability[1:] /
                  (old[-1] / date_scarf(Scarf(), as_of=AS_OF).probability[-1]) - 1).max() < 1e-9  # fmt: skip
