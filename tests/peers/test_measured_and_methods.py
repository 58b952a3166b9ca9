"""Measurements, methods and soft evidence against pyAgrum, from the raw tables.

Reference: pyAgrum (https://agrum.gitlab.io), lazy propagation, to 1e-8. The network has the true value
of each clue as a node of its own, what was noted as its child (confusion and slip), and each
measurement as a node of two states, "this measurement" or "another", given the true value. Its tables
come from `tests.reference`, which reads the knots by itself: nothing of the library's model is used.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from scarfdate import Scarf, date_scarf
from scarfdate.tables.priors import Priors
from tests.reference import GRADES, MARKETS, Reference

gum = pytest.importorskip("pyagrum")
pytestmark = pytest.mark.peers

SCARVES: list[dict[str, Any]] = [
    {"hem": "machine-stitched", "stitches_per_inch": 19.0, "fibre": "rayon", "motif": "floral-small"},
    {"width_cm": 88.0, "height_cm": 90.0, "form": "square", "palette": {"earth": 0.7, "jewel": 0.3}},
    {"width_cm": 35.0, "height_cm": 140.0, "momme": 9.5, "layout": "ends"},
    {"momme": 14.0, "weave": {"twill": 0.6, "plain": 0.4}, "hem": "rolled", "stitches_per_inch": 7.0},
    {"fibre": "polyester", "methods": {"fibre": "microscope"}, "motif": "geometric", "form": "oblong",
     "width_cm": 30.0, "height_cm": 130.0},
    {"fibre": {"silk": 0.8, "rayon": 0.2}, "methods": {"fibre": "burn"}, "label": "intact",
     "origin": "italy", "stitches_per_inch": 9.0},
]  # fmt: skip


class Network:
    """One scarf's network: only the clues that were looked at have nodes."""

    def __init__(self, reference: Reference, scarf: Scarf) -> None:
        self.reference, self.scarf, self.priors = reference, scarf, reference.priors
        self.net, self.evidence = gum.BayesNet("scarf"), {}
        n = len(reference.years)
        years = range(n)
        self.add("year", n, [], lambda y: reference.p_year[y])
        self.add("grade", 3, ["year"], lambda g, y: reference.p_grade[y][g])
        self.add("market", 4, ["year"], lambda k, y: reference.p_market[y][k])
        self.add("mode", 2, ["year"], lambda m, y: reference.rho[y] if m else 1 - reference.rho[y])

        def style(s: int, y: int, m: int) -> float:
            # nothing can look back from the first year: any row will do, its mode has no chance
            return float(s == y) if not m or y == 0 else reference.back[y][s]

        self.add("style", n, ["year", "mode"], style)
        measured = reference.measurements(scarf)
        parents = {self.priors.families[name].parent for name in measured}
        for family in sorted({*scarf.observations} | parents):
            self.clue(
                family,
                {m: x for m, x in measured.items() if self.priors.families[m].parent == family},
            )
        assert len(years) == n

    def add(self, name: str, size: int, parents: list[str], chance: Any) -> None:
        """A node with P(value | parents) from a function of their places."""
        self.net.add(gum.RangeVariable(name, name, 0, size - 1))
        sizes = [size, *(self.net.variable(parent).domainSize() for parent in parents)]
        for parent in parents:
            self.net.addArc(parent, name)
        table = np.empty(sizes)
        for place in itertools.product(*map(range, sizes)):
            table[place] = chance(*place)
        order = [name, *parents]
        axes = [order.index(axis) for axis in self.net.cpt(name).names]
        self.net.cpt(name).fillWith(np.transpose(table, axes).flatten(order="F").tolist())

    def clue(self, family: str, measured: dict[str, float]) -> None:
        """True value, what was noted of it, and what was measured on it."""
        values = list(self.priors.vocabulary.values[family])
        at = "style" if self.priors.families[family].reads == "style" else "year"
        if self.priors.shares[family].by_market:
            known = {(g, k): self.reference.p_value(family, g, k) for g in GRADES for k in MARKETS}
            self.add(family, len(values), [at, "grade", "market"],
                     lambda v, y, g, k: known[GRADES[g], MARKETS[k]][y][v])  # fmt: skip
        else:
            every = {g: self.reference.p_value(family, g, "any") for g in GRADES}
            self.add(family, len(values), [at, "grade"], lambda v, y, g: every[GRADES[g]][y][v])
        seen = self.scarf.observations.get(family)
        if seen is not None:
            slip, common = self.priors.slips[family], self.reference.common(family)
            confusion = self.priors.confusion[family].matrices[seen.method]
            self.add(f"{family}_noted", len(values), [family],
                     lambda o, v: (1 - slip) * confusion[v, o] + slip * common[o])  # fmt: skip
            weights = [0.0] * len(values)
            for word, weight in seen.terms:
                for child in self.priors.vocabulary.parents[family].get(word) or (word,):
                    weights[values.index(child)] += weight
            self.evidence[f"{family}_noted"] = weights
        for name, x in measured.items():
            years = self.reference.years
            density = np.array([
                [[self.reference.density(name, x, value, grade, year) for grade in GRADES] for year in years]
                for value in values
            ])  # fmt: skip
            density /= density.max() * 1.001
            self.add(name, 2, [family, at, "grade"],
                     lambda m, v, y, g, d=density: d[v, y, g] if m else 1 - d[v, y, g])  # fmt: skip
            self.evidence[name] = 1

    def posterior(self) -> dict[str, np.ndarray]:
        engine = gum.LazyPropagation(self.net)
        engine.setEvidence(self.evidence)
        engine.makeInference()
        return {n: engine.posterior(n).toarray() for n in ("year", "grade", "market", "mode")}


def farthest(scarf: Scarf, theirs: dict[str, np.ndarray], channel: str, as_of: int) -> float:
    ours = date_scarf(scarf, channel=channel, as_of=as_of)
    return max(
        float(np.abs(ours.probability - theirs["year"]).max()),
        float(np.abs(np.array(list(ours.grade.values())) - theirs["grade"]).max()),
        float(np.abs(np.array(list(ours.market.values())) - theirs["market"]).max()),
        abs(1 - ours.period_probability - float(theirs["mode"][1])),
    )


@pytest.mark.parametrize("seen", SCARVES, ids=lambda seen: "-".join(seen))
@pytest.mark.parametrize(("channel", "as_of"), [("thrift", 1975), ("estate", 2026)])
def test_measured_clues_and_methods(
    priors: Priors, seen: dict[str, Any], channel: str, as_of: int
) -> None:
    scarf = Scarf(**seen)
    theirs = Network(Reference(priors, channel, as_of), scarf).posterior()
    assert farthest(scarf, theirs, channel, as_of) < 1e-8


def test_the_alarm_rings(priors: Priors) -> None:
    """A network whose hem has other stitches must not agree."""
    scarf, other = (Scarf(hem="hand-rolled", stitches_per_inch=n) for n in (7.0, 9.0))
    theirs = Network(Reference(priors, "thrift", 1975), other).posterior()
    assert farthest(scarf, theirs, "thrift", 1975) > 1e-4
