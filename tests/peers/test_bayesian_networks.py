"""The posterior against two general-purpose Bayesian-network libraries, on the same tables.

References: pyAgrum, lazy propagation; pgmpy, variable elimination. Agreement to 1e-8.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

from scarfdate import Scarf, date_scarf, load_priors
from scarfdate.model.model import compiled
from tests.peers.networks import agrum, agrum_posterior, pgm

pytestmark = pytest.mark.peers

SCARVES: list[dict[str, object]] = [
    {},
    {"fibre": "silk", "hem": "hand-rolled", "motif": "geometric", "layout": "colour-blocks"},
    {"fibre": {"silk": 0.7, "polyester": 0.3}, "motif": "floral", "palette": "pastel"},
    {"label": "intact", "origin": "japan", "signature": "medium", "fibre": "not silk"},
    {"hem": "machine hem", "motif": {"paisley": 0.6, "floral": 0.4}, "uv_glow": "bright"},
    {"print_technique": "screen printed", "label": "none-seen", "label_make": None, "layout": "ombre"},
    {
        "fibre": "acetate", "weave": "satin", "hem": "machine-stitched", "hem_thread": "polyester",
        "print_technique": "machine-screen", "uv_glow": "faint", "signature": "none",
        "form": "square", "label": "intact", "label_make": "woven",
        "motif": "floral-large", "palette": "earth", "layout": "all-over",
    },
]  # fmt: skip


def evidence(seen: dict[str, object]) -> dict[str, list[float]]:
    """What was seen as a likelihood over the noted values: one for each value that it may be."""
    priors = load_priors()
    found = {}
    for name, given in seen.items():
        if given is None:
            continue
        values = priors.vocabulary.values[name]
        weights = np.zeros(len(values))
        for word, weight in (given if isinstance(given, dict) else {given: 1.0}).items():
            written = priors.vocabulary.canonical(name, str(word))
            for child in priors.vocabulary.children(name, written):
                weights[values.index(child)] += weight
        found[name] = weights.tolist()
    return found


@pytest.mark.quick
@pytest.mark.parametrize("seen", SCARVES, ids=lambda seen: json.dumps(seen)[:40])
def test_pyagrum(seen: dict[str, object]) -> None:
    gum = pytest.importorskip("pyagrum")
    model = compiled(load_priors(), "thrift", 2026)
    soft = evidence(seen)
    net = agrum(model, list(soft))
    theirs = agrum_posterior(gum.LazyPropagation(net), soft)
    ours = date_scarf(Scarf(**seen), as_of=2026)
    np.testing.assert_allclose(ours.probability, theirs["year"], atol=1e-8)
    np.testing.assert_allclose(list(ours.grade.values()), theirs["grade"], atol=1e-8)
    np.testing.assert_allclose(list(ours.market.values()), theirs["market"], atol=1e-8)
    np.testing.assert_allclose(1 - ours.period_probability, theirs["mode"][1], atol=1e-8)


@pytest.mark.parametrize("seen", SCARVES[:5], ids=lambda seen: json.dumps(seen)[:40])
def test_pgmpy(seen: dict[str, object]) -> None:
    pytest.importorskip("pgmpy")
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination

    model = compiled(load_priors(), "thrift", 1960)
    soft = evidence(seen)
    engine = VariableElimination(pgm(model, list(soft)))
    virtual = [TabularCPD(n, len(w), [[x / max(w)] for x in w]) for n, w in soft.items()]
    ours = date_scarf(Scarf(**seen), as_of=1960)
    for name, mine in (
        ("year", ours.probability),
        ("grade", np.array(list(ours.grade.values()))),
        ("mode", np.array([ours.period_probability, 1 - ours.period_probability])),
    ):
        query = engine.query([name], virtual_evidence=virtual or None, show_progress=False)
        theirs = query.values / query.values.sum()
        np.testing.assert_allclose(mine, theirs, atol=1e-8)


def test_the_alarm_rings() -> None:
    """Another channel's tables in the network must not agree."""
    gum = pytest.importorskip("pyagrum")
    net = agrum(compiled(load_priors(), "auction", 2026), ["fibre"])
    theirs = agrum_posterior(gum.LazyPropagation(net), evidence({"fibre": "silk"}))
    ours = date_scarf(Scarf(fibre="silk"), as_of=2026)
    assert np.abs(ours.probability - theirs["year"]).max() > 1e-4
