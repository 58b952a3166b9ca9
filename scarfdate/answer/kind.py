"""Which channel holds for a piece whose form is noted: the kind of object is a condition, never evidence.

In a museum a form says whether a thing is a scarf or a length of cloth; how many of either kind museums
have from a year says nothing about the one in hand. So the form chooses the channel (``kind_channels.csv``).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.scarf import Scarf
from scarfdate.errors import ScarfdateError
from scarfdate.reading.observation import Observation, read_observation
from scarfdate.tables.knots import ANY
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas as pd

FORM = "form"


def channel_for(priors: Priors, channel: str, scarf: Scarf) -> str:
    """The channel that holds for a scarf: that which its form chooses, or else the one asked for."""
    forms = priors.century.of_kind.get(channel) if isinstance(channel, str) else None
    return (
        channel if forms is None else _holds(priors, channel, forms, scarf.observations.get(FORM))
    )


def channels_of(
    priors: Priors, channel: str, cells: pd.Series | None
) -> NDArray[np.object_] | None:
    """The channel of each row by its cell of the form, (n,); None where all have the one asked for."""
    forms = priors.century.of_kind.get(channel) if isinstance(channel, str) else None
    if forms is None or cells is None:
        return None
    texts = [str(cell) if isinstance(cell, str) else "" for cell in cells]
    known = {}
    for text in set(texts):
        seen = None
        with suppress(ScarfdateError):  # a cell that cannot be read is refused where it is read
            seen = read_observation(priors, FORM, text)
        known[text] = _holds(priors, channel, forms, seen)
    return np.array([known[text] for text in texts], dtype=object)


def parts(
    channels: NDArray[np.object_] | None, channel: str, start: int, stop: int
) -> Iterator[tuple[str, slice | NDArray[np.intp]]]:
    """The channels of rows ``start`` to ``stop``, and the places within them of the rows of each."""
    if channels is None:
        yield channel, slice(0, stop - start)
        return
    here = channels[start:stop]
    for name in dict.fromkeys(here.tolist()):
        yield name, np.flatnonzero(here == name)


def _holds(priors: Priors, channel: str, forms: Mapping[str, str], seen: Observation | None) -> str:
    if seen is None:
        return channel
    values = [value for word, _ in seen.terms for value in priors.vocabulary.children(FORM, word)]
    chosen = {forms.get(value, forms.get(ANY, channel)) for value in values}
    return chosen.pop() if len(chosen) == 1 else channel
