"""The chance that an observation is a slip or a misreading, and that a design was printed again: by plain loops."""

from __future__ import annotations

import math
from typing import Any

import pytest

from scarfdate import Scarf, date_scarf, load_priors
from tests.reference import Reference

PRIORS = load_priors()
AS_OF = 1999
CASES: list[tuple[str, dict[str, Any]]] = [
    ("thrift", {"fibre": "polyester", "printed_year": 1925, "form": "square", "width_cm": 70}),
    (
        "estate",
        {"hem": "rolled", "motif": {"floral-large": 0.7, "geometric": 0.3}, "origin": "japan"},
    ),
    ("museum", {"fibre": "silk", "methods": {"fibre": "microscope"}, "depicted_year": 1937}),
    (
        "thrift",  # one label, without a copy of its text
        {
            "label_make": "woven",
            "origin": "occupied-japan",
            "fibre": "silk",
            "methods": {"fibre": "label"},
            "print_technique": "digital",
        },
    ),
    ("auction", {"label_text": "ALL SILK\nMADE IN ITALY", "hem": "hand-rolled"}),
    ("dealer", {"maker": "Gallophane", "print_technique": "hand-screen", "label_text": "© 1955"}),
]
SLOW = {"dealer", "auction"}  # their labels are enumerated mark by mark


class OnlyAmiss(Reference):
    """What was seen, with one part of it a slip or a misreading."""

    part, certain = "", False

    def noted(self, scarf: Scarf, family: str, slip: float | None = None) -> list[float]:
        every = super().noted(scarf, family, slip)
        seen = scarf.observations.get(family)
        if family != self.part or seen is None:
            return every
        values = list(self.priors.vocabulary.values[family])
        confusion = self.confusion[family][seen.method]
        rate = self.priors.slips[family] if slip is None else slip
        for true, value in enumerate(values):
            for word, weight in seen.terms:
                children = self.priors.vocabulary.parents[family].get(word) or (word,)
                if value in children:  # noted as it is, and by no slip
                    right = sum(confusion[true, values.index(child)] for child in children)
                    every[true] -= weight * (1 - rate) * right
        return every

    def ruled_out(
        self, scarf: Scarf, family: str, year: int, slip: float | None = None
    ) -> dict[int, float]:
        return {} if family == self.part else super().ruled_out(scarf, family, year, slip)

    def density(self, family: str, x: float, value: str, grade: str, year: int) -> float:
        about = self.priors.families[family]
        if family == self.part:
            return self.priors.slips[family] / math.log(about.high / about.low)
        return super().density(family, x, value, grade, year)

    def dated_clue(self, scarf: Scarf, name: str) -> list[float]:
        every = super().dated_clue(scarf, name)
        return [self.priors.slips[name] / len(every)] * len(every) if name == self.part else every

    def maker_clue(self, scarf: Scarf, signature: str) -> list[float]:
        every = super().maker_clue(scarf, signature)
        return (
            [self.priors.slips["maker"] / len(every)] * len(every)
            if self.part == "maker"
            else every
        )

    def label_clue(
        self, scarf: Scarf, *, rightly: bool = False
    ) -> dict[tuple[str, str], list[float]] | None:
        every = super().label_clue(scarf)
        if self.part != "label_text" or every is None:
            return every
        self.certain = True
        right = super().label_clue(scarf, rightly=True)
        self.certain = False
        assert right is not None
        return {
            state: [whole - one for whole, one in zip(row, right[state], strict=True)]
            for state, row in every.items()
        }

    def can_be(self, mark: str, value: str, market: str, year: int) -> float:
        misread = self.misread_as(mark, value) if self.certain else 0.0
        return super().can_be(mark, value, market, year) - misread


class FirstPrinting(Reference):
    """What was seen, of designs that were not printed again."""

    def lag_shares(self, name: str, column: str) -> tuple[list[int], list[float], list[float]]:
        lags, first, again = super().lag_shares(name, column)
        return lags, first, [0.0] * len(again)


@pytest.mark.parametrize(
    ("channel", "seen"),
    [pytest.param(*case, marks=[pytest.mark.slow] * (case[0] in SLOW)) for case in CASES],
)
def test_every_chance_is_that_of_the_enumeration(channel: str, seen: dict[str, Any]) -> None:
    scarf = Scarf(**seen)
    found = date_scarf(scarf, channel=channel, as_of=AS_OF)
    reference = OnlyAmiss(PRIORS, channel, AS_OF)
    whole = reference.date(scarf).log_evidence
    assert {doubt.clue for doubt in found.misreadings} >= set(scarf.observations)
    for doubt in found.misreadings:
        reference.part = doubt.clue
        expected = math.exp(reference.date(scarf).log_evidence - whole)
        assert doubt.chance == pytest.approx(expected, abs=1e-9), doubt.clue
    chances = [doubt.chance for doubt in found.misreadings]
    assert chances == sorted(chances, reverse=True)
    assert found.doubts == tuple(doubt for doubt in found.misreadings if doubt.chance > 0.5)


@pytest.mark.parametrize("seen", [{"printed_year": 1925, "fibre": "nylon"}, {"printed_year": 1955}])
def test_a_design_printed_again_by_the_enumeration(seen: dict[str, Any]) -> None:
    scarf = Scarf(**seen)
    whole = Reference(PRIORS, "estate", AS_OF).date(scarf).log_evidence
    first = FirstPrinting(PRIORS, "estate", AS_OF).date(scarf).log_evidence
    found = date_scarf(scarf, channel="estate", as_of=AS_OF)
    assert found.reissue == pytest.approx(1 - math.exp(first - whole), abs=1e-9)
