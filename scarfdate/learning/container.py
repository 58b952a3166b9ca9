"""The draws as ArviZ's container: InferenceData in ArviZ 0.x, a DataTree in 1.x."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from scarfdate.knots import Array

Groups = Mapping[str, Mapping[str, Array]]


def arviz_container(
    groups: Groups, coords: Mapping[str, object], dims: Mapping[str, list[str]]
) -> Any:
    """Groups of arrays (chain, draw, ...) with named dimensions, as the installed ArviZ has it."""
    import arviz

    held = {
        name: {key: np.asarray(value) for key, value in group.items()}
        for name, group in groups.items()
    }
    if arviz.__version__.startswith("0."):  # it takes every group as a keyword
        return arviz.from_dict(**held, coords=dict(coords), dims=dict(dims))
    return arviz.from_dict(held, coords=dict(coords), dims=dict(dims))
