"""`read_medium`: a museum's medium text as clues. All texts here are invented."""

from __future__ import annotations

import copy
import pickle
import unicodedata
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate import Priors, Scarf, ScarfdateError, load_priors
from scarfdate.errors import FileFault
from scarfdate.reading.medium import Medium, read_medium
from scarfdate.tables.checked import check
from scarfdate.tables.medium import MediumRules
from scarfdate.tables.medium_files import read_medium_rules
from scarfdate.tables.priors import folder_files, shipped_folder
from scarfdate.tables.schema import Words, schema
from scarfdate.tables.sheet import read_sheet
from scarfdate.words.phrases import medium_tokens, tokens_of
from tests.growth import rises_in_line
from tests.real_records.medium_agreement import agreement, read_texts

MEDIUM_FILES = ("medium_rules.csv", "medium_together.csv")
WORDS = ("vocabulary.csv", "families.csv")
RULES = load_priors().medium
VALUES = load_priors().vocabulary.values

# text -> what it states of fibre, weave and print technique, and of a hem or motif
EXAMPLES: list[tuple[str, dict[str, Any]]] = [
    ("silk", {"fibre": "silk"}),
    ("", {}),
    ("mystery stuff of Ruritania", {}),
    ("Pure silk twill, hand-rolled edges", {"fibre": "silk", "weave": "twill", "hem": "hand-rolled"}),
    ("cotton, printed", {"fibre": "cotton", "print_technique": "printed"}),
    ("silk screen printed cotton", {"fibre": "cotton", "print_technique": "screen-printed"}),
    ("silk, screen printed", {"fibre": "silk", "print_technique": "screen-printed"}),
    ("hand silk-screen print on rayon", {"fibre": "rayon", "print_technique": "hand-screen"}),
    ("hand printed, screen printed", {"print_technique": "hand-screen"}),
    ("wool challis; rotary screen print", {"fibre": "wool", "weave": "plain", "print_technique": "machine-screen"}),
    ("woven silk", {"fibre": "silk", "weave": "woven"}),
    ("jacquard woven silk", {"fibre": "silk", "weave": "jacquard", "print_technique": "woven-pattern"}),
    ("silk brocade on a satin ground", {"fibre": "silk", "weave": "jacquard", "print_technique": "woven-pattern"}),
    ("silk damask, block printed", {"fibre": "silk", "weave": "jacquard", "print_technique": "block"}),
    ("silk velvet on a satin foundation", {"fibre": "silk", "weave": "velvet"}),
    ("synthetic", {"fibre": "man-made"}),
    ("silk and cotton", {"fibre": "blend"}),
    ("silk with gold thread", {"fibre": "silk"}),
    ("gold thread", {"fibre": "metal-thread"}),
    ("55% viscose, 45% silk", {"fibre": "blend"}),
    ("Viscose 80 %, Seide 20 %", {"fibre": "rayon"}),
    ("30% spun rayon, 40% viscose, 30% cotton", {"fibre": "rayon"}),
    ("wool embroidery on a linen ground", {"fibre": "linen", "print_technique": "embroidered"}),
    ("silk, lined with printed cotton", {"fibre": "silk"}),
    ("silk ribbon", {"fibre": "silk"}),
    ("cotton; silk lining", {"fibre": "cotton"}),
    ("not printed", {"print_technique": "not printed"}),
    ("satin, stem and chain stitches on linen", {"fibre": "linen", "print_technique": "embroidered"}),
    ("striped cotton, knotted fringe", {"fibre": "cotton", "motif": "stripes-checks", "hem": "fringed"}),
    ("soie, sergé, imprimé au cadre, roulotté main", {"fibre": "silk", "weave": "twill", "print_technique": "screen-printed", "hem": "hand-rolled"}),
    ("toile (lin), imprimé, cuivre", {"fibre": "linen", "weave": "plain", "print_technique": "engraved-roller"}),
    ("mousseline de soie brodée", {"fibre": "silk", "weave": "chiffon", "print_technique": "embroidered"}),
    ("soie, taffetas,coton, toile,laine, tulle", {"fibre": "silk", "weave": "plain"}),
    ("seta stampata a mano, orlo a mano", {"fibre": "silk", "print_technique": "hand-printed", "hem": "hand-rolled"}),
    ("raso di seta, ricamo", {"fibre": "silk", "weave": "satin", "print_technique": "embroidered"}),
    ("Seide, Köper, Siebdruck, handrolliert", {"fibre": "silk", "weave": "twill", "print_technique": "screen-printed", "hem": "hand-rolled"}),
    ("Baumwolle, bedruckt", {"fibre": "cotton", "print_technique": "printed"}),
    ("Druck auf Kunstseide", {"fibre": "rayon", "print_technique": "printed"}),
    ("seda estampada", {"fibre": "silk", "print_technique": "printed"}),
    ("algodón, bordado", {"fibre": "cotton", "print_technique": "embroidered"}),
    ("zijde, zeefdruk", {"fibre": "silk", "print_technique": "screen-printed"}),
    ("soie, bords roulottés à la machine", {"fibre": "silk", "hem": "machine-rolled"}),
    ("roulotté machine", {"hem": "machine-rolled"}),
    ("roulottée à la main", {"hem": "hand-rolled"}),
    ("bords roulottés", {"hem": "rolled"}),
    ("Satin de soie imprimé", {"fibre": "silk", "weave": "satin", "print_technique": "printed"}),
    ("satin de coton", {"fibre": "cotton", "weave": "satin"}),
    ("crêpe de soie", {"fibre": "silk", "weave": "crepe"}),
    ("raso di seta", {"fibre": "silk", "weave": "satin"}),
    ("silk, dyed with synthetic dyes", {"fibre": "silk"}),
    ("silk and synthetic dyes", {"fibre": "silk"}),
    ("cotton, vegetable dyes and synthetic indigo", {"fibre": "cotton"}),
    ("Wolle, synthetische Farbstoffe", {"fibre": "wool"}),
    ("Silk damask, hemmed by hand", {"fibre": "silk", "weave": "jacquard", "print_technique": "woven-pattern", "hem": "hand hemmed"}),
    ("Seide, von Hand gesäumt", {"fibre": "silk", "hem": "hand hemmed"}),
    ("seda, dobladillo a mano", {"fibre": "silk", "hem": "hand hemmed"}),
    ("zijde, met de hand gezoomd", {"fibre": "silk", "hem": "hand hemmed"}),
    ("hoofddoek, machinaal gezoomd", {"hem": "machine hem"}),
    ("Perlon, Saum maschinengenäht", {"fibre": "nylon", "hem": "machine hem"}),
    ("Foulard, acétate", {"fibre": "acetate"}),
    ("Foulard in seta stampata", {"fibre": "silk", "print_technique": "printed"}),
    ("silk foulard, printed", {"fibre": "silk", "weave": "twill", "print_technique": "printed"}),
    ("fazzoletto di cotone stampato a rullo", {"fibre": "cotton", "print_technique": "engraved-roller"}),
    ("Knitted lace shawl, wool", {"fibre": "wool", "weave": "knit"}),
    ("oil on canvas", {}),
]  # fmt: skip


def plain(clues: Mapping[str, Any]) -> dict[str, Any]:
    """Clues with read-only weights as dicts."""
    return {key: clue if isinstance(clue, str) else dict(clue) for key, clue in clues.items()}


@pytest.mark.parametrize(("text", "clues"), EXAMPLES)
def test_plain_texts_are_read_and_nothing_more_is_said(text, clues):
    medium = read_medium(text)
    assert plain(medium.clues) == clues
    Scarf(**medium.clues, methods=medium.methods)


@pytest.mark.parametrize(
    "text",
    ["roller printed", "roller-printed", "Roller print.", "printed by engraved roller", "ROLLER‐PRINTED",
     "printed with copper rollers", "impression au rouleau", "Walzendruck", "stampa a rullo"],
)  # fmt: skip
def test_one_technique_in_many_spellings(text):
    assert plain(read_medium(text).clues) == {"print_technique": "engraved-roller"}


def test_or_and_doubt_give_weights():
    assert plain(read_medium("cotton or linen").clues) == {"fibre": {"cotton": 0.5, "linen": 0.5}}
    block = read_medium("block or screen printed").clues["print_technique"]
    assert block == {"block": 0.5, "screen-printed": 0.5}
    for text in ("soie ?", "silk (?)", "probably silk", "wahrscheinlich Seide"):
        weights = read_medium(text).clues["fibre"]
        assert not isinstance(weights, str)
        assert max(weights, key=lambda word: weights[word]) == "silk"
        assert 0.5 <= weights["silk"] < 1
        assert set(weights) == set(VALUES["fibre"])
        assert sum(weights.values()) == pytest.approx(1)
    doubtful = read_medium("silk, possibly printed").clues
    assert doubtful["fibre"] == "silk"  # the doubt is of the print alone
    assert not isinstance(doubtful["print_technique"], str)
    assert read_medium("cotton, ? printed").clues["fibre"] == "cotton"
    assert read_medium("silk? Technique: printed silk").clues["fibre"] == "silk"


def test_two_techniques_share_the_weight_and_the_narrower_word_wins():
    two = read_medium("block printed and hand painted").clues["print_technique"]
    assert two == {"block": 0.5, "hand-painted": 0.5}
    assert (
        read_medium("printed cotton; screen printed").clues["print_technique"] == "screen-printed"
    )


def test_what_was_read_and_what_was_not():
    medium = read_medium("Silk zorblax, printed on twill (quoting label)")
    assert [(one.phrase, dict(one.gives)) for one in medium.phrases] == [
        ("silk", {"fibre": "silk"}),
        ("printed", {"print_technique": "printed"}),
        ("on", {"": "ground"}),
        ("twill", {"weave": "twill"}),
        ("quoting label", {"fibre_method": "label"}),
    ]
    assert medium.unread == ("zorblax",)
    assert medium.methods == {"fibre": "label"}
    assert not read_medium("(quoting label)").methods  # nothing was looked at


def test_a_medium_is_frozen_and_can_be_sent():
    medium = read_medium("cotton or linen, printed")
    with pytest.raises(AttributeError):
        medium.unread = ()  # type: ignore[misc]
    with pytest.raises(TypeError):
        medium.clues["fibre"] = "silk"  # type: ignore[index]
    for again in (pickle.loads(pickle.dumps(medium)), copy.copy(medium), copy.deepcopy(medium)):
        assert isinstance(again, Medium)
        assert again == medium
        assert repr(again) == repr(medium)
        with pytest.raises(TypeError):
            again.clues["fibre"]["linen"] = 1  # type: ignore[index]
        with pytest.raises(TypeError):
            again.phrases[0].gives["fibre"] = "silk"  # type: ignore[index]


@pytest.mark.parametrize("wrong", ["my", 3, object(), {}, Path("priors")])
def test_priors_that_are_none_are_refused(wrong: object) -> None:
    with pytest.raises(ScarfdateError, match="priors: .* allowed, got"):
        read_medium("silk", priors=wrong)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "wrong", [None, 3, 2.5, float("nan"), b"silk", ["silk"], {"a": 1}, object()]
)
def test_anything_but_text_is_a_clear_error(wrong):
    with pytest.raises(ScarfdateError, match="medium: a text is allowed, got"):
        read_medium(wrong)


def test_a_cloth_named_with_its_fibre_states_the_fibre():
    """ "satin de soie" is one phrase, and must not swallow the silk."""
    fibres = {
        tokens_of(one.text): reading.gives
        for one in RULES.phrases for reading in one.readings
        if reading.family == "fibre" and reading.gives in VALUES["fibre"]
    }  # fmt: skip
    lost = []
    for one in RULES.phrases:
        families = {reading.family for reading in one.readings}
        words = tokens_of(one.text)
        ends = range(1, len(words) + 1)
        if "weave" in families and "fibre" not in families:
            lost += [one.text for end in ends for at in range(end) if words[at:end] in fibres]
    assert len(fibres) > 100 and not lost


def test_every_rule_can_be_reached():
    for phrase in RULES.phrases:
        reader = read_medium(f"zorblax {phrase.text}")
        silent = phrase.act is not None and phrase.act.name in ("skip", "and", "stop")
        assert [one.phrase for one in reader.phrases] == ([] if silent else [phrase.text])
        assert reader.unread == ("zorblax",)
        for reading in phrase.readings:
            assert reading.family in reader.clues


PHRASES = st.sampled_from([phrase.text for phrase in RULES.phrases])
ODD = st.text(alphabet=st.characters(), max_size=12)
TEXTS = st.lists(
    st.one_of(PHRASES, ODD, st.sampled_from([",", " ", "% ", "(?)", "50"])), max_size=14
)
TOKENS = {
    phrase.text: [token for token, _, _ in medium_tokens(phrase.text)] for phrase in RULES.phrases
}
HAS = Counter(token for phrase in RULES.phrases for token in {*TOKENS[phrase.text]})
STOPS = [
    phrase.text
    for phrase in RULES.phrases
    if phrase.act is not None
    and phrase.act.name == "skip"
    and TOKENS[phrase.text] == [phrase.text]
    and HAS[phrase.text] == 1  # in no other phrase
]
CALM = settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.too_slow])


@CALM
@given(TEXTS, st.sampled_from(["", " ", ", ", ","]))
def test_any_text_is_read_and_what_is_read_makes_a_scarf(parts, joint):
    text = joint.join(parts)
    medium = read_medium(text)
    end = 0
    for one in medium.phrases:
        assert end <= one.start < one.end <= len(text)
        end = one.end
    clues = {key: clue for key, clue in medium.clues.items() if key != "label_make"}
    Scarf(**clues)
    for clue in medium.clues.values():
        if not isinstance(clue, str):
            assert sum(clue.values()) == pytest.approx(1)


@CALM
@given(st.text(max_size=200))
def test_text_of_any_letters_is_read(text):
    medium = read_medium(text)
    assert bool(medium.clues) <= bool(medium.phrases)


@CALM
@given(st.lists(PHRASES, min_size=1, max_size=6), st.integers(0, 6), st.sampled_from(STOPS))
def test_a_stop_word_changes_nothing(parts, place, stop):
    joined = ", ".join(parts)
    assert plain(read_medium(f"{stop} {joined}").clues) == plain(read_medium(joined).clues)
    assert plain(read_medium(f"{joined}, {stop}").clues) == plain(read_medium(joined).clues)
    more = [*parts[:place], stop, *parts[place:]]
    without = [*parts[:place], *parts[place:]]
    assert plain(read_medium("; ".join(more)).clues) == plain(read_medium("; ".join(without)).clues)


@CALM
@given(st.lists(PHRASES, min_size=1, max_size=6))
def test_case_and_accents_do_not_matter(parts):
    text = ", ".join(parts)
    clues = plain(read_medium(text).clues)
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    for other in (text.upper(), text.title(), unicodedata.normalize("NFD", text), bare):
        assert plain(read_medium(other).clues) == clues


@pytest.mark.parametrize(
    "unit",
    [*(pytest.param(unit, marks=pytest.mark.slow) for unit in (
        "?", "silk,", "silk or cotton and ", "printed by engraved ", "possibly block or ", "on silk ", "50% silk ",
        "́", "a'", "9", "(", "satin, ", "not ", "warp resist dyed before ", "\x00ß", "lined with silk "))],
)  # fmt: skip
def test_time_grows_with_the_length_and_no_faster(unit):
    rises_in_line(lambda length: unit * (length // len(unit)), read_medium, 40_000, 8)


@pytest.mark.slow
@pytest.mark.parametrize("megabytes", [2, pytest.param(10, marks=pytest.mark.long)])
def test_megabytes_of_hostile_text(rng: np.random.Generator, megabytes: int):
    words = [
        "silk",
        "or",
        "printed by engraved",
        "possibly",
        "?",
        "%",
        "50",
        "not",
        "on",
        ",",
        "lined with",
        "zz",
    ]
    some = " ".join(np.array(words)[rng.integers(0, len(words), 250_000)])
    text = (some * (10_000_000 // len(some) + 1))[: megabytes * 1_000_000]
    rises_in_line(lambda length: text[:length], read_medium, len(text) // 4, 4)


HEADER = "phrase,language,family,gives,basis,source,note\n"
BAD: list[tuple[str, str, str]] = [  # a row, the column at fault, words of the message
    ("zib,en,fibre,slik,memory,,", "gives", "did you mean 'silk'"),
    ("zib,en,fibr,silk,memory,,", "family", "did you mean 'fibre'"),
    ("zib,en,momme,silk,memory,,", "family", "not an allowed word"),
    ("zib,en,,silk,memory,,", "gives", "a value needs its family"),
    ("zib,en,,skp,memory,,", "gives", "did you mean 'skip'"),
    (",en,fibre,silk,memory,,", "phrase", "must not be empty"),
    ("---,en,fibre,silk,memory,,", "phrase", "1 to 12 words"),
    ("a b c d e f g h i j k l m,en,fibre,silk,memory,,", "phrase", "1 to 12 words"),
    ("zib,,fibre,silk,memory,,", "language", "must not be empty"),
    ("zib,english,fibre,silk,memory,,", "language", "two small letters"),
    ("zib,en,fibre,,memory,,", "gives", "must not be empty"),
    ("zib,en,fibre,silk,,,", "basis", "not an allowed word"),
    ("zib,en,fibre,silk,standard,,", "source", "names its source"),
    ('zib,en,fibre,"{""silk"": 0.5}",memory,,', "gives", "weights sum to 1"),
    ('zib,en,fibre,"{""slik"": 1}",memory,,', "gives", "did you mean 'silk'"),
    ('zib,en,fibre,"{""silk"": ""x""}",memory,,', "gives", "a number above 0"),
    ('zib,en,fibre,"{""silk"": NaN}",memory,,', "gives", "a number above 0"),
    ('zib,en,fibre,"{""silk"": 0.5, ""seta"": 0.5}",memory,,', "gives", "stands twice"),
    ('zib,en,fibre,"{silk",memory,,', "gives", "weights sum to 1"),
    ('zib,en,,"{""doubt-last"": 2}",memory,,', "gives", "above 0, up to 1"),
    ('zib,en,,"{""doubt-last"": ""x""}",memory,,', "gives", "one amount"),
    ('zib,en,fibre,"{""doubt-last"": 0.5}",memory,,', "family", "no one family"),
    ('zib,en,,"{""leading"": 60}",memory,,', "family", "needs a family"),
    ('zib,en,fibre,"{""leading"": 70}",memory,,', "gives", "write one number"),
    ("zib,en,,ground,memory,,", "family", "needs a family"),
    ("zib,en,fibre_method,burnt,memory,,", "gives", "did you mean 'burn'"),
    ("silk,en,fibre,silk,memory,,", "phrase", "stands twice"),
    ("Silk,en,,skip,memory,,", "gives", "gives no value beside"),
]


def faults_of(content: bytes, name: str = MEDIUM_FILES[0]) -> tuple[MediumRules, list[FileFault]]:
    """The rules with one file replaced, and the faults of that."""
    priors, faults = load_priors(), list[FileFault]()
    files = {**folder_files(priors), name: content}
    sheets = {each: read_sheet(each, files[each], faults) for each in (*MEDIUM_FILES, *WORDS)}
    declared = {each: schema().of(each) for each in MEDIUM_FILES}
    tables = {
        each: check(sheets[each], own, Words(sheets)) for each, own in declared.items() if own
    }
    rules = read_medium_rules(tables, priors.vocabulary)
    return rules, sorted(faults, key=lambda fault: fault.row or 0)


@pytest.mark.sampled(6)
@pytest.mark.parametrize(("row", "column", "says"), BAD)
def test_a_bad_rule_is_named_with_file_row_and_column(row, column, says):
    shipped = (shipped_folder() / MEDIUM_FILES[0]).read_bytes()
    _, faults = faults_of(shipped + row.encode() + b"\n")
    assert len(faults) == 1
    (fault,) = faults
    assert (fault.file, fault.column) == (MEDIUM_FILES[0], column)
    assert fault.row == shipped.count(b"\n") + 1
    assert says in str(fault)


def test_all_bad_rules_are_reported_at_once_and_good_ones_kept():
    # a row that only repeats a good one, or contradicts it, needs the shipped rows beside it
    alone = [row for row, _, _ in BAD[:-4] if "leading" not in row]
    content = (
        HEADER
        + "zab,en,fibre,silk,memory,,\n"
        + "".join(row.replace("zib", f"zib{place}") + "\n" for place, row in enumerate(alone))
    )
    rules, faults = faults_of(content.encode())
    assert [fault.row for fault in faults] == list(range(3, 3 + len(alone)))
    assert rules.phrases[0].text == "zab"


@pytest.mark.sampled(3)
@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ("fibr,any,any,yields,memory,,", "family", "did you mean 'fibre'"),
        ("fibre,slik,any,yields,memory,,", "words", "did you mean 'silk'"),
        ("fibre,silk,woool,yields,memory,,", "beside", "did you mean 'wool'"),
        ("fibre,silk,any,yealds,memory,,", "gives", "yields"),
        ("fibre,silk,any,blend,memory,,", "words", "any"),
        ("fibre,any,any,other,memory,,", "family", "stands there twice"),
        ("fibre,silk,any,yields,lore,,", "basis", "not an allowed word"),
    ],
)
def test_a_bad_row_of_words_together_is_named(row, column, says):
    shipped = (shipped_folder() / MEDIUM_FILES[1]).read_bytes()
    _, faults = faults_of(shipped + row.encode() + b"\n", MEDIUM_FILES[1])
    assert [(fault.file, fault.row, fault.column) for fault in faults] == [
        (MEDIUM_FILES[1], shipped.count(b"\n") + 1, column)
    ]
    assert says in str(faults[0])


def test_a_dealers_own_row_is_read(tmp_path: Path, priors: Priors):
    for source in shipped_folder().rglob("*"):
        if source.is_file():
            target = tmp_path / source.relative_to(shipped_folder())
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(source.read_bytes())
    with (tmp_path / MEDIUM_FILES[0]).open("a", encoding="utf-8") as stream:
        stream.write("zorblax cloth,en,fibre,nylon,memory,,an invented word\n")
    medium = read_medium("Zorblax-cloth", priors=load_priors(tmp_path))
    assert medium.clues == {"fibre": "nylon"}
    assert pickle.loads(pickle.dumps(medium)) == copy.deepcopy(medium) == medium
    assert not read_medium("Zorblax-cloth", priors=priors).clues


# the share of texts with exactly the coded clue, as first measured on the held rows, less one
# binomial standard error (of 142, 122 and 106 texts)
# four held texts say "synthetic", coded so and since read as any man-made fibre: for that 0.93, not 0.96
AT_LEAST = {"fibre": 0.92, "weave": 0.95, "print_technique": 0.895}


def test_agreement_with_a_coding_by_hand(shared: Path):
    museum = shared / "museum"
    texts = read_texts([museum / "records.csv", museum / "harvested.csv"])
    for family, found in agreement(texts, "held").items():
        assert found.judged > 100
        assert found.share(found.exact)[0] >= AT_LEAST[family]
        assert found.compatible >= found.exact
