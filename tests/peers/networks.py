"""The model as a Bayesian network in two general-purpose libraries, from the same tables.

pyAgrum (https://agrum.gitlab.io) and pgmpy (https://pgmpy.org) know nothing of scarves: they are
given conditional probability tables and do their own exact inference.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, MARKETS
from scarfdate.model.model import Model


def tables(model: Model) -> dict[str, tuple[tuple[str, ...], np.ndarray]]:
    """Every node's parents and table P(node | parents), axes (node, *parents)."""
    years, n = model.years, len(model.years)
    mode = np.stack([1 - model.revival_share, model.revival_share])
    style = np.zeros((n, n, 2))  # style year, year made, mode
    style[:, :, 0] = np.eye(n)
    style[:, :, 1] = model.looked_back_to.T
    found: dict[str, tuple[tuple[str, ...], np.ndarray]] = {
        "year": ((), model.year_prior),
        "grade": (("year",), model.prior / model.year_prior),
        "market": (("year",), model.market),
        "mode": (("year",), mode),
        "style": (("year", "mode"), style),
    }
    assert years.size == n
    for clue in model.clues:
        if isinstance(clue, SharesClue):
            noted = np.tensordot(clue.noted("feel").T, clue.shares, axes=1)
            at = "style" if clue.reads == "style" else "year"
            if clue.by_market:  # axes value, market, grade, year
                found[clue.name] = (("market", "grade", at), noted)
            else:
                found[clue.name] = (("grade", at), noted[:, 0])
    return found


def agrum(model: Model, names: list[str]) -> Any:
    """The network in pyAgrum with the clues named."""
    import pyagrum as gum

    net = gum.BayesNet("scarf")
    wanted = ["year", "grade", "market", "mode", "style", *names]
    every = tables(model)
    for name in wanted:
        net.add(gum.LabelizedVariable(name, name, every[name][1].shape[0]))
    for name in wanted:
        for parent in every[name][0]:
            net.addArc(parent, name)
    for name in wanted:
        parents, table = every[name]
        order = [name, *parents]
        axes = [order.index(axis) for axis in net.cpt(name).names]
        # pyAgrum's flat order has its first variable running fastest
        net.cpt(name).fillWith(np.transpose(table, axes).flatten(order="F").tolist())
    return net


def pgm(model: Model, names: list[str]) -> Any:
    """The network in pgmpy with the clues named."""
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.models import DiscreteBayesianNetwork

    every = tables(model)
    wanted = ["year", "grade", "market", "mode", "style", *names]
    net = DiscreteBayesianNetwork([(p, name) for name in wanted for p in every[name][0]])
    for name in wanted:
        parents, table = every[name]
        sizes = [every[parent][1].shape[0] for parent in parents]
        flat = table.reshape(table.shape[0], -1)
        net.add_cpds(TabularCPD(name, table.shape[0], flat, list(parents), sizes) if parents
                     else TabularCPD(name, table.shape[0], table.reshape(-1, 1)))  # fmt: skip
    return net


def agrum_posterior(engine: Any, evidence: Mapping[str, object]) -> dict[str, np.ndarray]:
    """Posteriors of the four answers from a pyAgrum inference engine."""
    engine.setEvidence(dict(evidence))
    engine.makeInference()
    return {name: engine.posterior(name).toarray() for name in ("year", "grade", "market", "mode")}


SIZES = {"grade": len(GRADES), "market": len(MARKETS), "mode": 2}
