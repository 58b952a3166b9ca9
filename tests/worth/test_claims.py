"""Every clause of a listing traces to a claim, and every claim's number is worked out again from outside.

The numbers come from the dating's own probabilities, from `explain`, from `Condition` and from the scarf; ages
by facts vintage-20-years (dealers' custom) and antique-100-years (Harmonized Tariff Schedule, heading 9706).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import groupby

import pytest

from scarfdate import Dating, Listing, Scarf, date_scarf, describe, explain, load_priors
from scarfdate.tables.listing import LANGUAGES
from scarfdate.worth.claims import Claim
from scarfdate.worth.condition import Condition
from tests.worth import pieces

AS_OF = pieces.AS_OF
YEAR = re.compile(r"\b(1[89]\d\d|20\d\d)\b")
# the least number of clauses of a kind among the pieces below, so that none is checked on nothing
MET = {
    "years": 40, "decade": 40, "hill": 1, "not dated": 1, "vintage": 15, "older style": 2, "antique": 1,
    "later": 40, "reissue": 1, "earliest": 8, "grade": 4, "not looked over": 5, "no fault": 4,
    "basis": 40, "photograph": 200, "size": 15, "dyes that bleed": 5, "metal salts": 2, "stain": 5,
}  # fmt: skip
Piece = tuple[Scarf, Dating, str | None, Listing]


UNPUBLISHED = ("title", "photographs", "doubt", "care")


@pytest.fixture(scope="module")
def described() -> list[Piece]:
    some = [*pieces.drawn(60), *pieces.drawn(20, "estate", 4), *pieces.odd()]
    return [
        (
            scarf,
            dating,
            condition,
            describe(scarf, dating, condition, language=LANGUAGES[place % 4]),
        )
        for place, (scarf, dating, condition) in enumerate(some)
    ]


def every(described: list[Piece]) -> Iterator[tuple[Piece, Claim]]:
    for piece in described:
        for claim in piece[3].claims:
            yield piece, claim


def test_every_line_of_every_view_is_a_claim_or_a_heading(described):
    priors = load_priors()
    for _, _, _, one in described:
        headings = {priors.phrases.say(one.language, "heading", name) for name in (
            "seen", "size", "age", "for", "against", "condition", "basis")}  # fmt: skip
        clauses = {claim.clause for claim in one.claims if claim.section not in UNPUBLISHED}
        lines = one.text.splitlines()
        title = [claim.clause for claim in one.claims if claim.section == "title"]
        assert lines[0].casefold() == ", ".join(title).casefold() == one.title.casefold()
        said = [line for line in lines[1:] if line]
        listed = [line[2:] for line in said if line.startswith("- ")]
        assert {line for line in said if not line.startswith("- ")} <= headings
        assert {line[:1].casefold() + line[1:] for line in listed} == {
            clause[:1].casefold() + clause[1:] for clause in clauses
        }
        assert len(listed) == sum(c.section not in UNPUBLISHED for c in one.claims)
        for claim in one.claims:
            if claim.section in ("doubt", "care"):  # for the seller alone
                assert claim.clause not in f"{one.text}{one.markdown}{one.html}{one.json}"
                assert claim.clause.casefold() in str(one).casefold()


def test_every_kind_of_clause_is_met(described):
    kinds = [claim.kind for _, claim in every(described)]
    few = {kind: kinds.count(kind) for kind, least in MET.items() if kinds.count(kind) < least}
    assert not few


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_was_noted_stands_on_the_chance_that_it_is_right(language: str) -> None:
    """Of a word the chance that it is no slip; of what was noted in doubt the weight that was written."""
    seen = {"hem": "hand-rolled", "motif": "dots", "fibre": {"silk": 0.7, "rayon": 0.3}}
    dating = date_scarf(seen, as_of=AS_OF)
    found = {
        c.kind: c
        for c in describe(seen, dating, language=language).claims
        if c.section in ("title", "seen")
    }
    wrong = {one.clue: one.chance for one in dating.misreadings}
    for name in ("hem", "motif"):
        assert (
            found[name].number == pytest.approx(1 - wrong.get(name, 0.0))
            and "no slip" in found[name].basis
        )
    assert (found["fibre"].number, found["fibre"].basis) == (0.7, "weight that was noted")


@pytest.mark.parametrize(
    ("condition", "kinds"),
    [
        (None, ["not looked over"]),
        ("", ["not looked over"]),
        (Condition(), ["no fault"]),
        ("hole", ["hole"]),  # nobody wrote a grade
        ("no holes", ["none"]),  # nor that there is no fault at all
        ("very good, small stain", ["grade", "stain"]),
        (Condition(stated="good"), ["grade"]),  # whoever wrote a grade alone said nothing of faults
        (Condition(["pull", "stain"], stated="good"), ["grade", "pull", "stain"]),
    ],
)
def test_faultless_is_what_was_looked_over_and_has_no_fault(
    condition: object, kinds: list[str]
) -> None:
    found = describe({"hem": "hand-rolled"}, condition=condition, as_of=AS_OF)
    assert [claim.kind for claim in found.claims if claim.section == "condition"] == kinds


def test_so_many_pictures_are_asked_for() -> None:
    """One of each thing, one of each fault, and of what is written on it where something is."""
    say = load_priors().phrases.say

    def asked(seen: dict[str, object], **more: object) -> dict[str, float]:
        claims = describe(seen, as_of=AS_OF, **more).claims  # type: ignore[arg-type]
        return {c.clause: c.number for c in claims if c.section == "photographs"}

    bare = asked({"hem": "hand-rolled", "label": "none"})
    assert set(bare.values()) == {1.0}
    dated = asked(
        {"hem": "hand-rolled", "printed_year": 1950, "label": "intact"},
        condition="hole, pull, stain",
    )
    new = {
        say("en", "photograph", name): many
        for name, many in (("printed year", 1.0), ("faults", 3.0), ("label", 1.0))
    }
    assert dated == bare | new and not bare.keys() & new.keys()


def test_reasons_are_the_three_heaviest_of_one_deciban_or_more() -> None:
    """For the years and against them, beside `explain`; a decade is told but where it stands for all before it."""
    met = set()
    for seen in (
        pieces.LATER,
        pieces.TWO_HILLS,
        pieces.OLD,
        {"fibre": "silk", "hem": "hand-rolled"},
    ):
        scarf = Scarf(**seen)
        dating = date_scarf(scarf, as_of=AS_OF)
        claims = describe(scarf, dating).claims
        decades = dating.decades()
        first = max(decades, key=decades.__getitem__) == 1880
        assert [c.kind for c in claims].count("decade") == (
            0 if first or dating.age.years is None else 1
        )
        met.add(first)
        if dating.age.years is None:
            continue
        found = explain(scarf, dating.age.years, as_of=AS_OF)
        shares = {n: s for n, s in found.share.items() if n not in found.no_reason}
        for section, sign in (("for", 1), ("against", -1)):
            heavy = [
                n for n in sorted(shares, key=lambda n: -sign * shares[n]) if sign * shares[n] >= 1
            ]
            told = [(c.kind, c.number) for c in claims if c.section == section]
            assert told == [(name, pytest.approx(shares[name])) for name in heavy[:3]]
            met.add(section if told else "")
    assert met >= {True, False, "for", "against"}


def chance_of(dating: Dating, first: int, last: int) -> float:
    return float(dating.probability[(dating.years >= first) & (dating.years <= last)].sum())


def span_of(clause: str, language: str) -> tuple[int, int]:
    """The years of a clause; one year alone with "earlier" opens to the left."""
    found = [int(year) for year in YEAR.findall(clause)]
    earlier = {"en": "or earlier", "de": "oder früher", "fr": "ou avant", "it": "o prima"}[language]
    return (1880 if earlier in clause else found[0]), found[-1]


def in_per_cent(text: str) -> tuple[float, float]:
    """Between which chances a clause's "12 %" or "under 1 %" lies."""
    whole = int(re.search(r"(\d+)\s%", text)[1])
    if re.search(r"under|unter|moins|meno", text):
        return 0.0, 0.01
    if re.search(r"over|über|plus de|oltre", text):
        return 0.99, 1.0
    return (whole - 0.51) / 100, (whole + 0.51) / 100


def test_the_years_hold_what_they_say(described):
    for (_, dating, _, one), claim in every(described):
        if claim.kind not in ("years", "not dated"):
            continue
        held = chance_of(dating, *span_of(claim.clause, one.language))
        assert claim.number == pytest.approx(held)
        said = [
            int(n)
            for n in re.findall(r"\b(\d\d) (?:in|von|pièces|pezzi)|sind etwa (\d\d)", claim.clause)[
                0
            ]
            if n
        ]
        assert said == [min(int(100 * held + 1e-9), 99)]
        assert held >= 0.8 - 1e-9, claim


def test_decades_hills_and_bounds(described):
    for (_, dating, _, one), claim in every(described):
        if claim.kind == "decade":
            start = int(YEAR.findall(claim.clause.replace("0s", "0").replace("0er", "0"))[0])
            by_decade = {
                first: chance_of(dating, first, first + 9) for first in range(1880, AS_OF + 1, 10)
            }
            assert max(by_decade, key=by_decade.get) == start
            assert claim.number == pytest.approx(by_decade[start])
        elif claim.kind == "hill":
            first, last = span_of(claim.clause, one.language)
            assert (
                claim.number == pytest.approx(chance_of(dating, first, last))
                and claim.number >= 0.1
            )
            years = next(c for c in one.claims if c.kind == "years")
            within = span_of(years.clause, one.language)
            assert last < within[0] or first > within[1]
        elif claim.kind == "earliest":
            assert claim.number == dating.earliest.year == int(YEAR.findall(claim.clause)[0])
            doubted = dating.earliest.clue in {doubt.clue for doubt in dating.doubts}
            assert claim.section == ("doubt" if doubted else "age")
        else:
            continue
        if "%" in claim.clause:
            low, high = in_per_cent(claim.clause)
            assert low <= claim.number <= high


def test_ages_are_called_only_what_they_are(described):
    called = r"\b(vintage|antique|antik|ancien|antico)\b"
    for _, dating, _, one in described:
        later = max(1 - dating.period_probability, dating.reissue)
        twenty, hundred = (chance_of(dating, 0, AS_OF - age) for age in (20, 100))
        said = {claim.kind: claim.number for claim in one.claims if claim.section == "age"}
        if later >= 0.3:
            assert said["older style"] == pytest.approx(later)
            assert not {"vintage", "antique"} & {*said}
        elif hundred >= 0.95:
            assert said["antique"] == pytest.approx(hundred) and "vintage" not in said
        elif twenty >= 0.95:
            assert said["vintage"] == pytest.approx(twenty) and "antique" not in said
        else:
            assert not {"vintage", "antique", "older style"} & {*said}
        words = re.findall(called, one.text, re.IGNORECASE)
        assert len(words) == len({"vintage", "antique"} & {*said})
        assert said["later"] == pytest.approx(1 - dating.period_probability)
        assert said.get("reissue", 0.0) == pytest.approx(dating.reissue)


def test_reasons_are_those_of_explain(described):
    for scarf, dating, _, one in described:
        years = next((claim for claim in one.claims if claim.kind == "years"), None)
        said = [claim for claim in one.claims if claim.section in ("for", "against")]
        if years is None:
            assert not said
            continue
        found = explain(
            scarf, span_of(years.clause, one.language), channel=dating.channel, as_of=AS_OF
        )
        for claim in said:
            share = found.share[claim.kind]
            assert claim.number == pytest.approx(share) and abs(share) >= 1
            assert (share > 0) == (claim.section == "for")
            odds = float(
                re.findall(r"([\d.,]+) (?:to|zu|contre|a) 1\)", claim.clause)[0].replace(",", ".")
            )
            assert odds == pytest.approx(min(100, 10 ** (abs(share) / 10)), rel=0.05)
        for section, sign in (("for", 1), ("against", -1)):
            own = [claim.kind for claim in said if claim.section == section]
            most = sorted(
                (
                    n
                    for n in found.clues
                    if sign * found.share[n] >= 1
                    and n not in found.no_reason
                    and n not in {one.clue for one in dating.doubts}
                ),
                key=lambda n: -abs(found.share[n]),
            )
            assert own == most[:3]


def test_what_was_noted_carries_the_chance_that_it_is_right(described):
    pieces_of_no_form = {load_priors().listing.say(name, "phrase", "piece") for name in LANGUAGES}
    for (scarf, dating, _, _), claim in every(described):
        if claim.section not in ("seen", "title"):
            continue
        if claim.clause in pieces_of_no_form:
            assert (claim.kind, claim.number) == ("form", 0)
            doubted = any(one.clue == "form" for one in dating.doubts)
            assert "form" not in scarf.seen or doubted or scarf.seen["form"].word in (None, "other")
            continue
        weights = getattr(scarf.seen[claim.kind], "terms", ((None, 1.0),))
        slip = {one.clue: one.chance for one in dating.misreadings}.get(claim.kind, 0.0)
        expected = 1 - slip if len(weights) == 1 else max(weight for _, weight in weights)
        assert claim.number == pytest.approx(expected)
        assert expected >= 0.5


def test_what_is_more_likely_wrong_than_right_is_told_as_that():
    one = describe(pieces.IN_DOUBT, as_of=AS_OF)
    assert "polyester" not in one.title
    doubt, bound = (claim for claim in one.claims if claim.section == "doubt")
    first = date_scarf(pieces.IN_DOUBT, as_of=AS_OF).earliest.year
    assert (bound.kind, bound.number) == ("earliest", first) and first > 1915
    assert doubt.kind == "fibre" and doubt.number > 0.5 and "polyester" in doubt.clause
    assert any("in doubt" in text for text in one.photographs)


def test_sizes_are_in_both_units(described):
    for (scarf, _, _, one), claim in every(described):
        if claim.kind != "size":
            continue
        sides = [side for side in (scarf.seen["size"].width, scarf.seen["size"].height) if side]
        assert claim.number == tuple(sides)
        cm, inches = re.findall(
            r"([\d.,]+(?: × [\d.,]+)?) (?:cm|in|Zoll|pouces|pollici)\b", claim.clause
        )
        for text, factor, off in ((cm, 1.0, 0.51), (inches, 2.54, 0.26 * 2.54)):
            numbers = [float(n.replace(",", ".")) * factor for n in text.split(" × ")]
            assert numbers == pytest.approx(sides, abs=off)
        assert ("," in claim.clause) <= (one.language != "en")


def test_condition_claims_are_those_of_the_condition(described):
    for _, _, text, one in described:
        condition = None if text is None else Condition([text])
        own = [claim for claim in one.claims if claim.section == "condition"]
        if condition is None:
            assert [(claim.kind, claim.number) for claim in own] == [("not looked over", 0)]
            continue
        graded = [claim for claim in own if claim.kind == "grade"]
        assert len(graded) == (condition.stated is not None)
        faults = [claim for claim in own if claim.kind not in ("no fault", "grade")]
        assert [claim.kind for claim in faults] == [fault.kind for fault in condition.faults]
        for claim, fault in zip(faults, condition.faults, strict=True):
            assert claim.number == pytest.approx(Condition((fault,)).kept)
        pictures = sum(
            c.number for c in one.claims if c.section == "photographs" and _of_faults(c, one)
        )
        assert pictures == len(condition.faults)


def _of_faults(claim: Claim, one: Listing) -> bool:
    return claim.clause == load_priors().phrases.say(one.language, "photograph", "faults")


def test_every_fault_is_said_with_its_place():
    one = describe(
        {"fibre": "silk"}, condition="2 small pulls near edge, hole 3 mm centre", as_of=AS_OF
    )
    assert "- 2 small pulled threads by the edge\n- Hole 3 mm near the centre\n" in one.text
    assert (
        "- 2 kleine Fadenzieher am Rand\n"
        in describe(
            {"fibre": "silk"}, condition="2 small pulls near edge", language="de", as_of=AS_OF
        ).text
    )


@pytest.mark.parametrize(
    ("seen", "condition", "beware"),
    [
        ({"fibre": "polyester"}, "smells of mothballs", ["mothballs", "dyes that bleed"]),
        ({"fibre": "polyester"}, "stain", ["old spot removers", "dyes that bleed"]),
        ({"fibre": "polyester", "known_to": 1990}, "crease", []),
        ({"fibre": "silk", "known_to": 1930}, None, ["metal salts"]),
        ({"fibre": "silk", "known_from": 1960}, "tear", []),
        ({"fibre": "cotton", "known_to": 1930}, "tear", []),
    ],
)
def test_cautions_fit_the_piece(seen, condition, beware):
    one = describe(seen, condition=condition, as_of=AS_OF)
    care = [claim for claim in one.claims if claim.section == "care"]
    assert [claim.kind for claim in care] == beware
    assert len(one.cautions) == len(beware)
    for claim, text in zip(care, one.cautions, strict=True):
        assert text == claim.clause
        assert "conservator" in text
        if claim.kind == "metal salts":
            assert claim.number == pytest.approx(1.0)
        else:
            assert claim.number == 1


def test_the_basis_counts_what_was_noted(described):
    for (scarf, _, _, _), claim in every(described):
        if claim.kind == "basis":
            assert claim.number == len(scarf.seen) == int(re.findall(r"\d+", claim.clause)[0])


def test_sections_stand_in_one_order_and_the_photographs_are_the_sellers(described):
    for _, _, _, one in described:
        sections = [section for section, _ in groupby(claim.section for claim in one.claims)]
        assert len(sections) == len({*sections}) and sections[-1] == "photographs"
        assert len(one.photographs) >= 5
        for text in one.photographs:
            assert text in str(one) and text not in one.text
        assert one.to_frame()["clause"].tolist() == [claim.clause for claim in one.claims]


def test_a_piece_of_which_nothing_was_noted():
    one = describe({}, as_of=AS_OF)
    assert one.title == "Scarf"
    assert "age not known" in one.text.casefold()
    assert "condition\n- not noted yet" in one.text.casefold()
    assert not [
        claim for claim in one.claims if claim.section in ("seen", "size", "for", "against")
    ]


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "Made in {} or earlier"), ("de", "Entstanden im Jahr {} oder früher"),
        ("fr", "Fabrication en {} ou avant"), ("it", "Fabbricazione nel {} o prima"),
    ],
)  # fmt: skip
def test_a_piece_that_may_be_older_than_all_years(language, said):
    for seen in (pieces.OLD, {"known_to": 1880}):
        one = describe(seen, as_of=AS_OF, language=language)
        last = date_scarf(seen, as_of=AS_OF).interval()[1]
        assert said.format(last) in one.text
        made = one.record["additionalProperty"][0]
        assert (made["value"], made["maxValue"]) == (f"../{last}", last) and "minValue" not in made


@pytest.mark.slow
def test_the_same_numbers_in_every_language() -> None:
    for scarf, dating, condition in pieces.drawn(40, seed=8):
        some = [describe(scarf, dating, condition, language=language) for language in LANGUAGES]
        numbers = [[(c.section, c.kind, c.number) for c in one.claims] for one in some]
        assert all(own == numbers[0] for own in numbers)


@pytest.mark.parametrize("language", LANGUAGES)
def test_two_hills_within_the_years_are_told(language):
    """As the sentence tells them, counted from the probabilities: nobody reads a valley as years of its own."""
    shawl = Scarf(fibre="wool", form="shawl", motif="paisley", size="165 x 335 cm")
    painted = Scarf(form="oblong", fibre="silk", weave="chiffon", size="14 x 72 in", hem="hand-rolled",
                    print_technique="hand painted", motif="peacock feathers")  # fmt: skip
    for scarf, channel in ((shawl, "thrift"), (painted, "estate")):
        dating = date_scarf(scarf, channel=channel, as_of=AS_OF)
        assert "hardly between" in dating.sentence
        told = [c for c in describe(scarf, dating, language=language).claims if c.kind == "valley"]
        assert len(told) == 1 and told[0].section == "age"
        years = [int(year) for year in YEAR.findall(told[0].clause)]
        starts = years if len(years) == 2 * len(told[0].number) else [1880, *years]
        for place, held in enumerate(told[0].number):
            first, last = starts[2 * place : 2 * place + 2]
            assert held == pytest.approx(chance_of(dating, first, last))
            assert f"{round(100 * held)} %" in told[0].clause
    one = date_scarf(Scarf(depicted_year=1953), as_of=AS_OF)
    claims = describe(Scarf(depicted_year=1953), one, language=language).claims
    assert "valley" not in {claim.kind for claim in claims}
