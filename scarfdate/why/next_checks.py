"""What to look at next: for each thing not yet looked at, the bits it promises before looking.

The expected information of a look is the entropy of the year now, less what it will be on average over
what may be found (Lindley 1956, "On a measure of the information provided by an experiment", Annals of
Mathematical Statistics 27, 986-1005). It is worked out exactly, over every value that can be noted or
every step that can be measured. A clue that was looked at by a weaker method counts as it is: what the
better method adds is on top. What is read off a label (how it is made, a country name, a fibre) is there only
where there is a label, and where it shows it: as often as the tables say of pieces like this one, or for certain where
the label was noted. Where nothing was noted of a label, to look for one and to read it is one look. What else a
label's text, a maker or a dated print would say is not foreseen: no table says how often they are found.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from numbers import Real

from scarfdate.clues.on_label import hung_on_label
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares_field import LABEL
from scarfdate.conventions import CHANNEL, MORE_LIKELY_THAN_NOT
from scarfdate.errors import RangeError, shown
from scarfdate.tables.lists import Check
from scarfdate.tables.priors import Priors
from scarfdate.why.asked import Asked
from scarfdate.why.looks import Look, NextLooks
from scarfdate.why.plan import planned
from scarfdate.why.state import State, promises


def next_checks(
    scarf: Scarf | Mapping[str, object],
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
    minutes: float | None = None,
    harmless: bool = True,
    worth: float | None = None,
    at_stake: float | None = None,
) -> NextLooks:
    """What to look at next on a scarf, best by the years that a minute of it can be expected to take off.

    The order is that of what is told, years and minutes. Bits add up from look to look, as years do not: the plan,
    a set, goes by bits a minute.

    Only what the piece allows is proposed (no country name where the label is gone: ``not_where`` in
    ``checks.csv``), and only what is likely to narrow its years by one or more; the rest is in ``too_little``.

    ``minutes``: how much time there is; the best set within it is chosen one by one.

    ``harmless``: leave out what harms the piece or needs a flame, a solvent or an ultraviolet lamp. With
    False they are listed with their cautions, but only where they promise enough (``least_bits`` in
    ``checks.csv``). Say what the piece is worth as it is and what is at stake, the money that hangs on
    naming its decade rightly, both in the same money: then they are listed only where what they can be
    expected to save, ``surer`` times ``at_stake``, is more than the harm costs. What is not listed for
    such a reason is in ``held_back``.

    Raises RangeError for minutes or money that are none, and as `date_scarf` does.
    """
    _checked("minutes", minutes, least=0.0)
    _checked("worth", worth)
    _checked("at_stake", at_stake)
    if (worth is None) != (at_stake is None):
        raise RangeError("worth and at_stake: give both, in the same money, or neither")
    asked = Asked.of(scarf, priors, channel, as_of)
    state = State.of(asked)
    looks, held_back, too_little = list[Look](), list[tuple[Look, str]](), list[Look]()
    able = [
        (check, read, outcomes)
        for check, read in _taken(state, list(checks_left(asked, harmless=harmless)))
        if (outcomes := state.outcomes(check, read)) is not None
    ]
    promised = promises(state, [outcomes for _, _, outcomes in able])
    for (check, _, outcomes), (bits, narrower, surer) in zip(able, promised, strict=True):
        look = Look(
            clue=check.family,
            method=check.method,
            words=check.words,
            bits=bits,
            narrower=narrower,
            surer=surer,
            minutes=check.minutes,
            harms=check.harms,
            caution=check.caution,
            there=outcomes.there,
            of_label=LABEL in state.fits or state.label is not None,
        )
        why = _not_worth_it(look, check, worth, at_stake)
        if why:
            held_back.append((look, why))
        else:
            (looks if look.narrows else too_little).append(look)
    for some in (looks, too_little):
        some.sort(key=lambda look: (-look.years_per_minute, -look.bits))
    plan, bits, error = tuple[Look, ...](), 0.0, 0.0
    if minutes is not None:
        by_key = {(check.family, check.method): (check, read) for check, read, _ in able}
        plan, bits, error = planned(state, looks, by_key, float(minutes))
    dating = asked.dated()
    first, last = dating.interval()
    return NextLooks(
        again=dating.doubts,
        width=last - first + 1,
        looks=tuple(looks),
        plan=plan,
        plan_bits=bits,
        plan_error=error,
        held_back=tuple(held_back),
        too_little=tuple(too_little),
    )


def _taken(state: State, left: Sequence[Check]) -> Iterator[tuple[Check, tuple[Check, ...]]]:
    """The looks, each with those that are taken along: whoever looks for a label, reads it."""
    hung = hung_on_label(state.model.priors)
    read = tuple(
        check
        for check in left
        if (check.family, check.method) in hung and state.outcomes(check) is not None
    )
    looked_for = any(check.family == LABEL and state.outcomes(check) is not None for check in left)
    for check in left:
        if check.family == LABEL:
            yield check, read
        elif not (looked_for and check in read):
            yield check, ()


def checks_left(asked: Asked, *, harmless: bool) -> Iterator[Check]:
    """The rows of ``checks.csv`` that what was noted of a piece leaves room for, in their order."""
    for check in asked.priors.checks:
        if not (harmless and (check.harms or check.needs in _DANGEROUS)) and _allowed(check, asked):
            yield check


_DANGEROUS = ("lamp", "flame", "solvent")
_MOST = 1e9  # minutes, or money


def _allowed(check: Check, asked: Asked) -> bool:
    """Whether what was noted of the piece leaves room for a look."""
    barred: dict[str, set[str]] = {}
    for family, word in check.not_where:
        barred.setdefault(family, set()).add(word)
    return not any(
        family in asked.scarf.seen and ("" in words or _noted_as(asked, family, words))
        for family, words in barred.items()
    )


def _noted_as(asked: Asked, family: str, words: Set[str]) -> bool:
    """Whether it is more likely than not that a family was noted as one of some words.

    A parent word is one of them if it stands for the same values as one that is listed, or for listed values only.
    """
    noted, vocabulary = asked.scarf.observations.get(family), asked.priors.vocabulary
    if noted is None:
        return False
    listed = [{*vocabulary.children(family, word)} for word in words]
    weight = 0.0
    for word, share in noted.terms:
        values = {*vocabulary.children(family, word)}
        weight += share if values in listed or values <= words else 0.0
    return weight > MORE_LIKELY_THAN_NOT


def _checked(name: str, value: float | None, least: float = -1e-12) -> None:
    if value is None:
        return
    if isinstance(value, bool) or not isinstance(value, Real) or not least < value < _MOST:
        above = "above 0" if least == 0 else "from 0"
        raise RangeError(f"{name}: a number {above} is allowed, got {shown(value)}")


def _not_worth_it(look: Look, check: Check, worth: float | None, at_stake: float | None) -> str:
    """Why a check is not offered; "" where it is."""
    if look.bits < check.least_bits:
        return "it can do harm, and would tell next to nothing more of the years"
    if worth is not None and at_stake is not None:
        saved, lost = look.surer * at_stake, check.loss * worth
        if lost > 0 and saved <= lost:
            return f"it can be expected to save {saved:.2f} and to cost {lost:.2f} by its harm"
    return ""
