"""What a listing may never say, in any language, and how its phrases are written.

The words below are this test's own, not those of ``priors/worth/not_said.csv``.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator

import pytest

from scarfdate import Listing, PriorsError, describe, load_priors
from scarfdate.tables.listing import LANGUAGES
from scarfdate.tables.priors import shipped_folder
from tests.worth import pieces

AS_OF = pieces.AS_OF
# no verdict and no praise, in any of the languages, whatever the language of the listing
VERDICTS = (
    r"\bauthent|\bautent|\bgenuin|\breal silk|\bguarant|\bgarant|\bcertif|\bzertif|\becht|véritable|\bvero\b|\bvera\b|"
    r"\brare|\brarit|\bselten|\braro|\brara\b|\brari\b|\bunique|\bunic[ao]\b|\beinzigartig|\beinmalig|one of a kind|"
    r"museum quality|\boriginal|\bprecious|\bkostbar|\bprezios|\bprécieu|\bluxur|\bluxus|\bluxe\b|\blusso|\bdesigner"
)
# the model's words, which nobody should have to look up
MODEL = r"posterior|\bprior\b|probabil|likelihood|wahrscheinlichkeit\b|deci?ban|evidence|channel|median|\bnan\b|None\b|[{}<>|]"
LONGEST_TITLE, LONGEST, LONGEST_CAUTION = 120, 160, 330  # characters
SHIPPED = shipped_folder() / "worth"


def said(one: Listing) -> str:
    return "\n".join(claim.clause for claim in one.claims) + f"\n{one.text}\n{one.title}"


def many(n: int, seed: int) -> Iterator[Listing]:
    channels = ("thrift", "estate", "museum")
    some = [p for channel in channels for p in pieces.drawn(n // 3, channel, seed)] + pieces.odd()
    for scarf, dating, condition in some:
        for language in LANGUAGES:
            yield describe(scarf, dating, condition, language=language)


def check(listings: Iterator[Listing]) -> int:
    count = 0
    for one in listings:
        text = said(one)
        assert not re.search(VERDICTS, text, re.IGNORECASE), text
        assert not re.search(MODEL, text, re.IGNORECASE), text
        check_written(one)
        count += 1
    return count


def check_written(one: Listing) -> None:
    """Lengths of lines, and marks as each language sets them."""
    assert 3 <= len(one.title) <= LONGEST_TITLE and one.title[0].isupper()
    for claim in one.claims:
        longest = LONGEST_CAUTION if claim.section == "care" else LONGEST
        assert 0 < len(claim.clause) <= longest, claim.clause
        assert claim.clause == claim.clause.strip() and "  " not in claim.clause
        assert not re.search(r"[,:;] ?[,:;.]|\( |\(\)| \)|: *$", claim.clause), claim.clause
        quoted = re.sub(r"[“„«].*[”“»]", "", claim.clause)
        if one.language == "fr":
            assert not re.search(r"[^ ][:;%]", quoted), claim.clause
        else:
            assert not re.search(r" [:;]", quoted), claim.clause
        assert re.search(r"\d%", quoted) is None
        if one.language != "en":
            assert not re.search(r"\d\.\d", quoted), claim.clause


def test_nothing_forbidden_is_said():
    assert check(many(18, 2)) >= 100


@pytest.mark.slow
def test_nothing_forbidden_is_said_of_hundreds_of_pieces():
    assert check(many(300, 3)) >= 1200


def test_no_maker_is_named_and_no_country():
    """A maker and a country that were noted move the dating; the listing leaves them to the seller's own words."""
    seen = {
        "maker": "Quorvelle",
        "signature": "large",
        "origin": "italy",
        "fibre": "silk",
        "hem": "hand-rolled",
    }
    countries = r"ital|frankreich|franc[ei]|quorvelle"
    for language in LANGUAGES:
        one = describe(seen, as_of=AS_OF, language=language)
        assert not re.search(countries, said(one) + one.json + str(one), re.IGNORECASE)


@pytest.mark.parametrize(
    "name", ["phrases.csv", "fault_phrases.csv", "condition_cautions.csv", "../listing.csv"]
)
def test_no_table_of_phrases_holds_a_forbidden_word(name):
    with (SHIPPED / name).open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert rows
    for row in rows:
        for language in LANGUAGES:
            assert not re.search(VERDICTS, row[language], re.IGNORECASE), row


def test_every_value_that_is_looked_at_has_its_words():
    """But for "other", which says nothing, and countries, which are not said."""
    priors = load_priors()
    for family, values in priors.vocabulary.values.items():
        if family not in priors.shares or family == "origin":
            continue
        for value in values:
            words = [
                priors.phrases.say(language, family, value)
                or priors.listing.say(language, family, value)
                for language in LANGUAGES
            ]
            assert all(words) != (value == "other"), (family, value, words)
    for family in priors.families:
        assert all(priors.phrases.say(language, "family", family) for language in LANGUAGES)


@pytest.mark.parametrize(
    ("was", "becomes", "column"),
    [
        ("looked over, no fault seen", "guaranteed without fault", "en"),
        ("durchgesehen, kein Fehler gefunden", "echt, kein Fehler gefunden", "de"),
        ("made {span}: right", "made then: right", "en"),
        ("phrase,basis,", "phrase,bases,", "word"),
        ("family,fibre,", "family,fiber,", "word"),
        ("hem,raw,raw edge,", "hem,raw,,", "en"),
    ],
)
def test_a_table_of_phrases_that_says_more_or_less_is_refused(tmp_path, was, becomes, column):
    text = (SHIPPED / "phrases.csv").read_text("utf-8")
    assert was in text
    (tmp_path / "worth").mkdir()
    (tmp_path / "worth" / "phrases.csv").write_text(text.replace(was, becomes, 1), "utf-8")
    with pytest.raises(PriorsError) as caught:
        load_priors(tmp_path)
    assert {(fault.file, fault.column) for fault in caught.value.faults} >= {
        ("worth/phrases.csv", column)
    }


def test_a_phrase_for_a_fault_that_says_too_much_is_refused(tmp_path):
    text = (SHIPPED / "fault_phrases.csv").read_text("utf-8")
    assert "\none,hole,hole," in text
    (tmp_path / "worth").mkdir()
    spoiled = text.replace("\none,hole,hole,", "\none,hole,genuine hole,")
    (tmp_path / "worth" / "fault_phrases.csv").write_text(spoiled, "utf-8")
    with pytest.raises(PriorsError, match="genuine"):
        load_priors(tmp_path)


def test_phrases_of_ones_own_are_used_and_survive_a_pickle(tmp_path):
    import pickle

    text = (SHIPPED / "phrases.csv").read_text("utf-8")
    (tmp_path / "worth").mkdir()
    (tmp_path / "worth" / "phrases.csv").write_text(
        text.replace("heading,age,When it was made", "heading,age,Age"), "utf-8"
    )
    own = load_priors(tmp_path)
    for priors in (own, pickle.loads(pickle.dumps(own))):
        one = describe({"fibre": "silk"}, as_of=AS_OF, priors=priors)
        assert "\nAge\n" in one.text and "When it was made" not in one.text
    assert date_of(own) == date_of(None)


def date_of(priors):
    from scarfdate import date_scarf

    return date_scarf({"fibre": "silk"}, as_of=AS_OF, priors=priors).sentence


def test_folders_of_before_there_were_phrases_still_load(tmp_path):
    import shutil

    shutil.copytree(shipped_folder(), tmp_path / "old")
    (tmp_path / "old" / "datapackage.json").unlink()
    shutil.rmtree(tmp_path / "old" / "worth")
    assert describe({"fibre": "silk"}, as_of=AS_OF, priors=load_priors(tmp_path / "old")).title
