"""The clauses of a listing about the piece and its age, each as a `Claim` with the number it stands on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, reduce

from scarfdate.answer.dating import Dating
from scarfdate.answer.decades import stretches_within
from scarfdate.answer.listing import Age, called, called_in_words, sides_of, surely
from scarfdate.answer.reasons import WEIGHTY
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.sides import SIZE
from scarfdate.conventions import FIRST_YEAR
from scarfdate.reading.cells import Observed
from scarfdate.reading.observation import Observation
from scarfdate.show.sentence import MATTERS
from scarfdate.why.explain import explain
from scarfdate.worth.claims import AGAINST, AGE, BASIS, DOUBT, FOR, SEEN, TITLE, Claim
from scarfdate.worth.claims import SIZE as SIZE_SECTION
from scarfdate.worth.phrasing import FIBRE, Phrasing

_FORM, _LABEL, _LABEL_MAKE, _LABEL_TEXT = "form", "label", "label_make", "label_text"
_THERE = ("label", "some label")  # words that say no more than that there is one
# the order in which a person looks: cloth, edge, pattern, what is written on it
_IN_TURN = (
    "weave", "momme", "hem", "hem_thread", "stitches_per_inch", "print_technique", "motif", "layout",
    "palette", "uv_glow", "signature", "printed_year", "depicted_year", _LABEL, "label_make", _LABEL_TEXT,
    "known",
)  # fmt: skip
_NAMED = 3  # clues named for the years, and against


@dataclass(frozen=True, kw_only=True)
class Clauses:
    """The piece, its dating, and the phrases in which both are said."""

    scarf: Scarf
    dating: Dating
    say: Phrasing

    @cached_property
    def age(self) -> Age:
        """What a buyer may be told of the age."""
        return self.dating.age

    @cached_property
    def wrong(self) -> Mapping[str, float]:
        """By family the chance that what was noted is a slip or a misreading."""
        return {one.clue: one.chance for one in self.dating.misreadings}

    @cached_property
    def noted(self) -> Mapping[str, Observed]:
        """What was noted, without what is more likely wrong than right."""
        doubted = {name for one in self.dating.doubts for name in one.families}
        return {name: one for name, one in self.scarf.seen.items() if name not in doubted}

    def every(self) -> Iterator[Claim]:
        """All of them, section by section."""
        yield from self.title()
        yield from self.seen()
        yield from self.size()
        yield from self.dated()
        yield from self.reasons()
        yield from self.doubts()
        count = len(self.scarf.seen)
        yield Claim(
            clause=self.say.say("basis", n=count), number=float(count), basis="clues noted",
            kind="basis", section=BASIS,
        )  # fmt: skip

    def title(self) -> Iterator[Claim]:
        """What it is, and of which fibre as it is known."""
        form = self.say.word(_FORM, self.noted.get(_FORM))
        if form:
            yield self._seen(_FORM, form, TITLE)
        else:
            yield Claim(
                clause=self.say.piece(), number=0.0, basis="words for its form that are said",
                kind=_FORM, section=TITLE,
            )  # fmt: skip
        fibre = self.say.word(FIBRE, self.noted.get(FIBRE))
        if fibre:
            yield self._seen(FIBRE, fibre, TITLE)

    def seen(self) -> Iterator[Claim]:
        """Everything else that was noted for certain and has a word."""
        words = {name: self.say.word(name, self.noted.get(name)) for name in _IN_TURN}
        if words[_LABEL_TEXT]:
            words[_LABEL] = ""  # what is quoted of a label says that there is one
        label = self.noted.get(_LABEL)
        if words[_LABEL_MAKE] and isinstance(label, Observation) and label.word in _THERE:
            words[_LABEL] = ""  # so does its make
        for name, word in words.items():
            if word:
                yield self._seen(name, word, SEEN)

    def _seen(self, family: str, word: str, section: str) -> Claim:
        one = self.noted[family]
        right = 1 - self.wrong.get(family, 0.0)
        basis = f"chance that what was noted of {_plain(family)} is no slip or misreading, given everything noted"
        if isinstance(one, Observation) and one.word is None and not one.parts:
            right, basis = max(weight for _, weight in one.terms), "weight that was noted"
        return Claim(clause=word, number=right, basis=basis, kind=family, section=section)

    def size(self) -> Iterator[Claim]:
        """What was measured, in both units."""
        sides = tuple(sides_of(self.scarf.seen.get(SIZE)))
        if sides:
            yield Claim(
                clause=self.say.size(self.scarf.seen[SIZE]), number=sides,
                basis="sides in cm, as measured", kind=SIZE, section=SIZE_SECTION,
            )  # fmt: skip

    def dated(self) -> Iterator[Claim]:
        """The years with their level, what it may be called by its age, and what else it may be."""
        dating, say = self.dating, self.say
        first, last = self.age.years or dating.interval()
        held = dating.between(first, last)
        put_in = {"span": say.span(first, last), "sure": surely(held)}
        if self.age.years is None:
            text, basis = (
                say.say("age open", **put_in),
                "chance of these years; the clues hardly move it",
            )
            yield _age("not dated", text, held, basis)
        else:
            yield _age("years", say.say("made", **put_in), held, "chance of these years")
            decades = dating.decades()
            best = max(decades, key=lambda start: decades[start])
            if best > FIRST_YEAR:  # the first decade holds all before it, too
                put_in = {"from": best, "chance": say.chance(decades[best])}
                text = say.say("most likely decade", **put_in)
                yield _age("decade", text, decades[best], "chance of that decade")
            yield from self._valley(first, last)
            yield from self._hills(first, last)
        name, chance = called(say.priors, self.age)
        if name:
            text = called_in_words(say.priors, self.age, say.language)
            basis = "chance of a later piece" if name == "older style" else "chance of such an age"
            yield _age(name, text, chance, basis)
        later, again = 1 - dating.period_probability, dating.reissue
        text = say.say("later", chance=say.chance(later))
        yield _age("later", text, later, "chance of a later piece in an older look")
        if again > 0:
            text = say.say("reissue", chance=say.chance(again))
            yield _age("reissue", text, again, "chance of a design printed again later")
        yield from self._earliest(AGE)

    def _earliest(self, section: str) -> Iterator[Claim]:
        """The first possible year; with what is in doubt where what bounds it is more likely wrong than right."""
        bound = self.dating.earliest
        if bound is None or bound.year <= FIRST_YEAR:
            return
        if section == (AGE if bound.clue in self.noted else DOUBT):
            yield Claim(
                clause=self.say.say("earliest", year=bound.year, word=self._clue(bound.clue)),
                number=float(bound.year), kind="earliest", section=section,
                basis=f"first possible year by {_plain(bound.clue)}: {bound.reason} ({bound.source})",
            )  # fmt: skip

    def _valley(self, first: int, last: int) -> Iterator[Claim]:
        """The stretches that hold the years where the interval spans a valley, as the sentence tells them."""
        between, say = self.dating.between, self.say
        stretches = stretches_within(self.dating.region(), between, first, last)
        if stretches:
            held = tuple(between(*one) for one in stretches)
            each = [
                say.say("stretch", span=say.span(*one), chance=say.chance(chance))
                for one, chance in zip(stretches, held, strict=True)
            ]
            text = reduce(lambda one, other: say.say("or", first=one, second=other), each)
            yield Claim(
                clause=say.say("valley", stretches=text), number=held, kind="valley", section=AGE,
                basis="chances of these years",
            )  # fmt: skip

    def _hills(self, first: int, last: int) -> Iterator[Claim]:
        """Years apart from the interval that are likely enough to be told, as the sentence tells them."""
        for start, end in self.dating.region():
            held = self.dating.between(start, end)
            if held >= MATTERS and (end < first or start > last):
                put_in = {"span": self.say.span(start, end), "chance": self.say.chance(held)}
                yield _age("hill", self.say.say("hill", **put_in), held, "chance of these years")

    def reasons(self) -> Iterator[Claim]:
        """What speaks for the years and against them, heaviest first, from one deciban on."""
        years = self.age.years
        whole = (int(self.dating.years[0]), int(self.dating.years[-1]))
        if years is None or years == whole:
            return
        found = explain(
            self.scarf, years, priors=self.say.priors,
            channel=self.dating.channel, as_of=self.dating.as_of,
        )  # fmt: skip
        doubted = {name for one in self.dating.doubts for name in one.families}
        ranked = sorted(found.clues, key=lambda name: -abs(found.share[name]))
        for section, sign in ((FOR, 1), (AGAINST, -1)):
            some = [
                n for n in ranked
                if n not in found.no_reason and n not in doubted and sign * found.share[n] >= WEIGHTY
            ]  # fmt: skip
            for name in some[:_NAMED]:
                weight = found.share[name]
                yield Claim(
                    clause=self.say.reason(self._clue(name), weight),
                    number=weight, basis=f"weight of evidence for {years[0]}-{years[1]}, in decibans",
                    kind=name, section=section,
                )  # fmt: skip

    def _clue(self, name: str) -> str:
        if name == _LABEL_TEXT:  # it is quoted once
            return self.say.named(name)
        return self.say.clue(name, self.scarf.seen)

    def doubts(self) -> Iterator[Claim]:
        """What was noted and is more likely wrong than right."""
        for one in self.dating.doubts:
            seen = self.scarf.seen.get(one.clue)
            word = self.say.word(one.clue, seen) or self.say.named(one.clue)
            yield Claim(
                clause=self.say.say("doubted", word=word, chance=self.say.chance(one.chance)),
                number=one.chance, basis="chance of a slip or a misreading, given everything noted",
                kind=one.clue, section=DOUBT,
            )  # fmt: skip
        yield from self._earliest(DOUBT)


def _age(kind: str, clause: str, number: float, basis: str) -> Claim:
    return Claim(clause=clause, number=number, basis=basis, kind=kind, section=AGE)


def _plain(family: str) -> str:
    """The name of a family as one writes it in a sentence."""
    return family.replace("_", " ")
