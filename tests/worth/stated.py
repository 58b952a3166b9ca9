"""Prices that are stated, not learned, and samples of four sales: for tests of the decision."""

from __future__ import annotations

import numpy as np

from scarfdate.worth.price_samples import PriceSamples
from scarfdate.worth.prices import Prices
from scarfdate.worth.reference import SEASONS, Reference

EFFECTS = {
    ("base", ""): 3.2, ("size", ""): 0.5, ("condition", ""): 1.0,
    ("fibre", "silk"): 0.7, ("fibre", "polyester"): -0.6, ("fibre", "rayon"): -0.3,
    ("hem", "hand-rolled"): 0.4, ("hem", "machine-stitched"): -0.2, ("grade", "fine"): 0.3,
    ("decade", "1920"): 0.9, ("decade", "1950"): 0.4, ("decade", "1960"): 0.3, ("decade", "1990"): -0.3,
    ("channel", "fair"): 0.3, ("channel", "online"): -0.2, ("season", "autumn"): 0.4,
}  # fmt: skip
REFERENCE = Reference(
    currency="EUR", n_sold=300, area=(8.9, 0.3), kept=(-0.4, -0.1, 0.0),
    channels={"fair": 0.4, "online": 0.6}, seasons=dict.fromkeys(SEASONS, 0.25),
)  # fmt: skip


def prices(**changed: object) -> Prices:
    """Effects that are known to the last digit; days grow with the price asked; one in twenty comes back."""
    stated = {
        "sigma": 0.45, "days": {("base", ""): 4.2, ("asked", ""): 4.0, ("fibre", "polyester"): 0.5},
        "returns": {("base", ""): -3.0}, "reference": REFERENCE,
    }  # fmt: skip
    return Prices.stated(EFFECTS, **(stated | changed))  # type: ignore[arg-type]


def four_sales(price: list[float], days: list[float] | None, back: list[int]) -> PriceSamples:
    """One piece in four draws: prices, days until a buyer comes, and whether she sends it back."""
    n = len(price)
    return PriceSamples(
        log_price=np.log([price]),
        log_fair=np.zeros((1, n)),
        cell=np.zeros((1, n), dtype=np.intp),
        value={},
        days_location=None if days is None else np.log([days]),
        days_slope=None if days is None else np.zeros(n),
        days_shape=None if days is None else np.ones(n),
        days_uniform=None if days is None else np.full((1, n), np.exp(-1.0)),
        returned=np.array([back], dtype=float),
        currency="EUR",
        invented=False,
    )
