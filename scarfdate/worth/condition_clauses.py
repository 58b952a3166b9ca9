"""The clauses of a listing about the condition, and what to beware of."""

from __future__ import annotations

from collections.abc import Iterator

from scarfdate.show.sentence import MATTERS
from scarfdate.worth.claims import CARE, CONDITION, Claim
from scarfdate.worth.clauses import Clauses
from scarfdate.worth.condition import Condition
from scarfdate.worth.fault import Fault
from scarfdate.worth.phrasing import FIBRE


def condition_clauses(
    clauses: Clauses, condition: Condition | None, written: str = ""
) -> Iterator[Claim]:
    """The condition as it was noted, no better and no worse: the grade that somebody wrote, every fault with its
    place, what there is none of; and the cautions. ``written``: the cell that says it, quoted where part of it has no
    other words here."""
    say = clauses.say
    quoted = say.quote(written)
    if condition is None and not quoted:
        yield _claim("not looked over", say.say("not looked over"), 0.0, "times it was looked over")
    if condition is not None:
        kept = "part of a faultless piece's price that is left, in the median"
        if condition.stated is not None:
            stated = Condition(stated=condition.stated, priors=say.priors).kept
            yield _claim("grade", condition.stated_in(say.language), stated, kept)
        denied = condition.denied_in(say.language)
        if not (condition.faults or condition.stated or denied or condition.not_read):
            yield _claim("no fault", say.say("no fault"), 0.0, "faults noted")
        for fault, phrase in condition.words(say.language):
            alone = Condition((fault,), priors=say.priors).kept
            yield _claim(fault.kind, phrase, alone, f"{kept} beside this fault alone")
        if denied:
            yield _claim(
                "none", denied, float(len(condition.denied)), "kinds of which none was noted"
            )
    if quoted and (condition is None or condition.not_read):
        unread = 1 if condition is None else len(condition.not_read)
        text = say.say("as written", text=quoted) or quoted
        yield _claim("as written", text, float(unread), "words that have no others here")
    yield from _cautions(clauses, condition.faults if condition is not None else ())


def _claim(kind: str, clause: str, number: float, basis: str) -> Claim:
    return Claim(clause=clause, number=number, basis=basis, kind=kind, section=CONDITION)


def _cautions(clauses: Clauses, faults: tuple[Fault, ...]) -> Iterator[Claim]:
    """Those for the faults that there are, and those for the fibre if the piece may be old enough."""
    priors, language = clauses.say.priors, clauses.say.language
    if priors.condition is None:
        return
    of_age = {one.caution: one for one in priors.caution_when}
    for name, caution in priors.condition.cautions.items():
        when = of_age.get(name)
        if when is not None:
            fibre, years = clauses.noted.get(FIBRE), clauses.dating.years
            said = dict(getattr(fibre, "terms", ())).get(when.fibre, 0.0) > 0
            number = float(clauses.dating.probability[years < when.before].sum())
            said, basis = (
                said and number >= MATTERS,
                f"chance that it was made before {when.before:g}",
            )
        else:
            number = float(sum(fault.kind in caution.kinds for fault in faults))
            said, basis = number > 0, "faults that call for it"
        if said:
            yield Claim(
                clause=caution.text[language], number=number, basis=basis, kind=name, section=CARE
            )
