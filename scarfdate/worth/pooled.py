"""A linear predictor over a mixture of design rows, with partial pooling: likelihood and prior.

    P(observation i)  =  sum over k of  w(i, k) law(observation i; x(i, k) b)

A piece has a row for every decade and grade that it may be of, with the chance of it as its weight; one that is
known for certain has a single row. The law is one of `scarfdate.worth.laws`. The coefficients b of a pooled
group are normal around 0 with a standard deviation of their own group, the logarithm of which is normal around
a stated one; the others have normal priors, or none. Coefficients that are above zero are exp(theta).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.tables.worth_pooling import Pool
from scarfdate.worth.coefficients import POSITIVE, Layout
from scarfdate.worth.laws import Law


@dataclass(frozen=True, eq=False, kw_only=True)
class Design:
    """``rows``: a sparse matrix (rows, coefficients); ``start`` (n,): the first row of each observation, rising
    from 0; ``log_weight`` (rows,): natural logarithms, the weights of an observation adding up to one."""

    layout: Layout
    rows: Any
    start: NDArray[np.intp]
    log_weight: Array

    @classmethod
    def plain(cls, layout: Layout, rows: Any) -> Design:
        """One row an observation: (n, coefficients), dense or sparse."""
        from scipy.sparse import csr_array

        held = csr_array(rows)
        return cls(
            layout=layout,
            rows=held,
            start=np.arange(held.shape[0]),
            log_weight=np.zeros(held.shape[0]),
        )

    @cached_property
    def observation(self) -> NDArray[np.intp]:
        """The observation of each row, (rows,)."""
        many = np.diff(np.append(self.start, self.rows.shape[0]))
        return np.repeat(np.arange(len(self.start)), many)

    @cached_property
    def dense(self) -> Array:
        """``rows`` with all its zeros, for products of columns."""
        return np.asarray(self.rows.toarray())

    @cached_property
    def mean_rows(self) -> Array:
        """The expected row of each observation, (n, coefficients)."""
        return self.summed(np.exp(self.log_weight))

    def summed(self, weight: Array) -> Array:
        """Rows times ``weight`` (rows,), added up by observation, (n, coefficients)."""
        return np.asarray(np.add.reduceat(self.dense * weight[:, None], self.start, axis=0))


FLAT = Pool(0.0)


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
        flat = np.array([not pool.pooled and np.isinf(pool.spread) for pool in each], bool)
        return cls(
            mean=np.array([0.0 if pool.pooled or np.isinf(pool.spread) else pool.centre for pool in each]),
            sd=np.array(
                [pool.centre if pool.pooled else 1.0 if f else pool.spread
                 for pool, f in zip(each, flat, strict=True)]
            ),
            scale_of=np.array(
                [scales.index(group) if group in scales else len(scales) for group, _ in layout.names],
                np.intp,
            ),
            flat=flat,
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
        self.transposed = design.rows.T.tocsr()

    def coefficients(self, z: Array) -> Array:
        """What multiplies the design, of z (..., size)."""
        theta = self.prior.mean + self.prior.sd * z
        return np.where(self.positive, np.exp(np.where(self.positive, theta, 0.0)), theta)

    def parts(self, z: Array, parameters: Array) -> tuple[float, Array, Any]:
        """The log likelihood, P(row | observation) (rows,), and the terms of every row."""
        design = self.design
        terms = self.law.terms(design.rows @ self.coefficients(z), parameters)
        log = design.log_weight + terms.log
        top = np.maximum.reduceat(log, design.start)
        each = np.exp(log - top[design.observation])
        total = np.add.reduceat(each, design.start)
        return float((np.log(total) + top).sum()), each / total[design.observation], terms

    def value(self, z: Array, parameters: Array) -> float:
        """The log likelihood with the priors of entries without a scale."""
        return self.parts(z, parameters)[0] - float(self.prior.own_precision @ z**2) / 2

    def value_and_gradient(self, z: Array, parameters: Array) -> tuple[float, Array]:
        """`value`, and its gradient by z."""
        value, weight, terms = self.parts(z, parameters)
        gradient = self.transposed @ (weight * terms.first)
        gradient = gradient * np.where(self.positive, self.coefficients(z), 1.0) * self.prior.sd
        own = self.prior.own_precision
        return value - float(own @ z**2) / 2, gradient - own * z

    def information(self, z: Array, parameters: Array) -> Array:
        """Minus the Hessian of `value` by z, (size, size)."""
        _, weight, terms = self.parts(z, parameters)
        curved = -weight * (terms.second + terms.first**2)
        score = self.design.summed(weight * terms.first)
        bent = np.where(self.positive, self.coefficients(z) * self.prior.sd**2, 0.0)
        bent *= self.transposed @ (weight * terms.first)
        return self._by_coordinates(z, _gram(self.design.dense, curved) + score.T @ score, -bent)

    def expected_information(self, z: Array, parameters: Array) -> Array:
        """Fisher's information with every observation at its expected row: positive semi-definite, (size, size).

        What is not known of a piece is thereby taken as never to be known; where all is known it is exact.
        """
        _, weight, terms = self.parts(z, parameters)
        each = np.add.reduceat(weight * terms.expected, self.design.start)
        return self._by_coordinates(z, _gram(self.design.mean_rows, each), np.zeros(len(z)))

    def _by_coordinates(self, z: Array, information: Array, diagonal: Array) -> Array:
        """Information of the coefficients as that of z, with the priors of entries without a scale."""
        by_z = np.where(self.positive, self.coefficients(z), 1.0) * self.prior.sd
        found = by_z[:, None] * information * by_z
        found[np.diag_indices_from(found)] += diagonal + self.prior.own_precision
        return np.asarray(found)


def _gram(rows: Array, weight: Array) -> Array:
    """Products of columns, each row times its weight, added up: (columns, columns)."""
    return np.asarray((rows * weight[:, None]).T @ rows)
