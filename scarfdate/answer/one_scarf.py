"""`date_scarf`: one scarf is a table of one."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from scarfdate import years
from scarfdate.answer.dating import Dating
from scarfdate.answer.evidence import encode
from scarfdate.answer.kind import channel_for
from scarfdate.answer.quotes import quoted
from scarfdate.clues.kinds import fields_of
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import CHANNEL, LEVEL
from scarfdate.errors import ScarfdateError, shown
from scarfdate.frozen import frozen
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior
from scarfdate.tables.priors import Priors, checked_priors


def as_scarf(scarf: object, priors: Priors) -> Scarf:
    """The scarf as these priors read it, or one made from a mapping; ScarfdateError for anything else."""
    if isinstance(scarf, Scarf):
        return scarf.under(priors)
    if isinstance(scarf, Mapping):
        return Scarf.from_dict(scarf, priors=priors)
    raise ScarfdateError(f"a Scarf (or a mapping of what was seen) is dated, got {shown(scarf)}")


def date_scarf(
    scarf: Scarf | Mapping[str, object],
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    level: float = LEVEL,
    as_of: int | None = None,
) -> Dating:
    """When one piece was made, as a distribution over years.

    ``scarf``: what was seen, a `Scarf` or a mapping with its names; ``priors``: the shipped tables
    unless others are given; ``channel``: where the piece turned up (in a museum
    the form chooses the channel of its kind of object); ``level``: of the interval that
    the sentence gives; ``as_of``: the last possible year, this year unless given.

    Raises ScarfdateError naming what is wrong with the scarf, the channel, the level or the year.
    """
    known = checked_priors(priors)
    scarf = as_scarf(scarf, known)
    model = compiled(known, channel_for(known, channel, scarf), as_of)
    codes, warnings = encode(model, scarf)
    found = posterior(model, codes, keep_joint=np.float64)
    return Dating(
        years=model.years,
        probability=found.year[0],
        level=years.checked_level(level),
        channel=model.channel.name,
        as_of=model.as_of,
        priors_hash=known.hash,
        warnings=(*scarf.warnings, *warnings),
        _priors=known,
        _observed=frozen(model.keys_of(codes)),
        _seen=frozen({**scarf.seen}),
        _measured=frozen(quoted(fields_of(known).by_name, scarf.seen)),
        _posterior=found,
    )
