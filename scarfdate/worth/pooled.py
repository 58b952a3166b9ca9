"""A linear predictor with partial pooling: likelihood and prior.

    log P(observations)  =  sum over i of  log law(observation i; x(i) b)

The law is one of `scarfdate.worth.laws`. The coefficients b of a pooled group are normal around 0 with a standard
deviation of their own group, the logarithm of which is normal around a stated one; the others have normal priors, or
none. Coefficients that are above zero are exp(theta).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.tables.worth_pooling import Pool
from scarfdate.worth.coefficients import ALONE, POSITIVE, Layout
from scarfdate.worth.laws import Law, Terms

FLAT = Pool(0.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class Design:
    """``rows`` (n, coefficients), what multiplies the coefficients of a ``layout``."""

    layout: Layout
    rows: Array

    @cached_property
    def counts(self) -> Array:
        """How many observations each coefficient has, (size,): one of which a value is half sure counts half."""
        alone = np.array([group in ALONE for group, _ in self.layout.names], bool)
        return np.asarray(np.where(alone, (self.rows != 0).sum(axis=0), self.rows.sum(axis=0)))


@dataclass(frozen=True, eq=False, kw_only=True)
class Prior:
    """The prior of all coefficients, theta = mean + sd z: ``mean``, ``sd`` (size,); ``scale_of`` (size,): the scale
    of each entry, or the number of scales for one without; ``flat`` (size,); ``scales``, the pooled groups, with
    ``log_scale_sd``. ``shape``: (parameters, 2), mean and standard deviation of the shape parameters."""

    mean: Array
    sd: Array
    scale_of: NDArray[np.intp]
    flat: NDArray[np.bool_]
    scales: tuple[str, ...]
    log_scale_sd: Array
    shape: Array

    @classmethod
    def of(cls, layout: Layout, pools: Mapping[str, Pool], law: Law) -> Prior:
        """From the prior of each group and shape parameter, by name."""
        scales = tuple(group for group in layout.groups if pools[group].pooled)
        each = [pools[group] for group, _ in layout.names]
        own = np.array([not pool.pooled and np.isfinite(pool.spread) for pool in each], bool)
        centre, spread = (
            np.array([getattr(pool, name) for pool in each]) for name in ("centre", "spread")
        )
        pooled = np.array([pool.pooled for pool in each], bool)
        places = {group: place for place, group in enumerate(scales)}
        return cls(
            mean=np.where(own, centre, 0.0),
            sd=np.where(own, spread, np.where(pooled, centre, 1.0)),
            scale_of=np.array([places.get(group, len(scales)) for group, _ in layout.names], np.intp),
            flat=~(own | pooled),
            scales=scales,
            log_scale_sd=np.array([pools[group].spread for group in scales]),
            shape=np.array([(pools[n].centre, pools[n].spread) for n in law.names]).reshape(-1, 2),
        )  # fmt: skip

    @cached_property
    def own_precision(self) -> Array:
        """The prior precision of z where it is not that of a scale, (size,)."""
        return np.where(self.flat | (self.scale_of < len(self.scales)), 0.0, 1.0)


class Pooled:
    """The log likelihood of whitened coefficients z, with the priors of entries that have no scale."""

    def __init__(self, design: Design, law: Law, prior: Prior) -> None:
        self.design, self.law, self.prior = design, law, prior
        self.positive = np.array([group in POSITIVE for group, _ in design.layout.names], bool)

    def coefficients(self, z: Array) -> Array:
        """What multiplies the design, of z (..., size)."""
        theta = self.prior.mean + self.prior.sd * z
        return np.where(self.positive, np.exp(np.where(self.positive, theta, 0.0)), theta)

    def terms(self, z: Array, parameters: Array) -> Terms:
        """The law's terms of every observation."""
        return self.law.terms(self.design.rows @ self.coefficients(z), parameters)

    def value(self, z: Array, parameters: Array) -> float:
        """The log likelihood with the priors of entries without a scale."""
        log = float(self.terms(z, parameters).log.sum())
        return log - float(self.prior.own_precision @ z**2) / 2

    def value_and_gradient(self, z: Array, parameters: Array) -> tuple[float, Array]:
        """`value`, and its gradient by z."""
        terms = self.terms(z, parameters)
        own = self.prior.own_precision
        gradient = (terms.first @ self.design.rows) * self._by_z(z) - own * z
        return float(terms.log.sum()) - float(own @ z**2) / 2, gradient

    def information(self, z: Array, parameters: Array, *, expected: bool = False) -> Array:
        """Minus the Hessian of `value` by z, (size, size), or its expectation, which is never indefinite."""
        terms = self.terms(z, parameters)
        weight = terms.expected if expected else -terms.second
        by_z = self._by_z(z)
        rows = self.design.rows * by_z
        found = (rows * weight[:, None]).T @ rows
        found[np.diag_indices_from(found)] += self.prior.own_precision
        if not expected:
            bent = np.where(self.positive, by_z * self.prior.sd, 0.0)
            found[np.diag_indices_from(found)] -= bent * (terms.first @ self.design.rows)
        return np.asarray(found)

    def _by_z(self, z: Array) -> Array:
        """Derivative of each coefficient by its z, (size,)."""
        return np.where(self.positive, self.coefficients(z), 1.0) * self.prior.sd
