"""What is asked about: one scarf, under the priors and the model that it is dated by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from scarfdate.answer.dating import Dating
from scarfdate.answer.evidence import encode
from scarfdate.answer.kind import channel_for
from scarfdate.answer.one_scarf import as_scarf, date_scarf
from scarfdate.answer.quotes import quoted
from scarfdate.clues.clue import Noted
from scarfdate.clues.kinds import fields_of
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import Array
from scarfdate.model.exact import rows_of
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.words.claims import Claim, read_claim


@dataclass(frozen=True, eq=False, kw_only=True)
class Asked:
    """A scarf, and the model that weighs it; ``codes`` (1, clues): what was noted of each clue."""

    priors: Priors
    scarf: Scarf
    model: Model
    codes: Codes

    @classmethod
    def of(
        cls, scarf: Scarf | Mapping[str, object], priors: Priors | None, channel: str, as_of: int | None
    ) -> Asked:  # fmt: skip
        """Raises as `date_scarf` does."""
        known = checked_priors(priors)
        seen = as_scarf(scarf, known)
        model = compiled(known, channel_for(known, channel, seen), as_of)
        return cls(priors=known, scarf=seen, model=model, codes=encode(model, seen)[0])

    @cached_property
    def measured(self) -> Noted:
        """What was measured, as it was noted."""
        return quoted(fields_of(self.priors).by_name, self.scarf.seen)

    @cached_property
    def rows(self) -> Mapping[int, Array]:
        """The likelihood of each clue that was looked at, by its column."""
        return rows_of(self.model, self.codes)

    def dated(self) -> Dating:
        """The scarf, dated."""
        where, as_of = self.model.channel.name, self.model.as_of
        return date_scarf(self.scarf, priors=self.priors, channel=where, as_of=as_of)

    def claim(self, claim: object) -> Claim:
        """A claim as read; where it is None, that the scarf is of its own shortest interval."""
        wanted = self.dated().interval() if claim is None else claim
        ages = {word: int(self.priors.allowances[f"{word}_age"]) for word in ("antique", "vintage")}
        model = self.model
        return read_claim(wanted, model.years, model.as_of, self.priors.date_words, ages)
