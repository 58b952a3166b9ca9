"""Bad labels: random text, cut labels, misprints, and texts made to take long.

Source: composed labels (``compose.py``), of which the marks are known before a letter is spoilt.
"""

from __future__ import annotations

import re
import string
import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate.reading.label import Label, read_label
from scarfdate.tables.priors import Priors
from scarfdate.words.phrases import label_tokens, plain_label
from tests import growth
from tests.reading.label.compose import INTACT, Composed, compose

pytestmark = pytest.mark.slow

AS_PRINTED, ONE_OFF, GUESSED, CUT = "as printed", "one letter off", "letters guessed", "cut off"
PERCENTS = ("fibre-percent", "wool-percent")
CUT_SIGNS = ("...", "…", "[cut]")
# marks with a number or a year in them: a part of a number is another number
NUMBERED = {
    "rn", "wpl", "ca-number", "patent", "design-patent", "registered-design", "upc", "ean", "zip",
    "postal-zone", "copyright-year", "district-paris",
}  # fmt: skip
LONG = 7  # letters of a word in which one spoilt letter leaves little doubt
CAPITALS = "state-two-letter"  # two capitals without points: in small letters it is no such mark
SHOWN = 10

usual = settings(
    deadline=None,
    derandomize=True,
    max_examples=300,
    suppress_health_check=[HealthCheck.too_slow],
)


@pytest.fixture(scope="module")
def labels() -> list[Composed]:
    return [label for label in compose(np.random.default_rng(5), 300) if label.state == INTACT]


def pairs(label: Label) -> set[tuple[str, str]]:
    return {(mark.mark, mark.value) for mark in label.marks}


def told(faults: list[str]) -> str:
    return "\n".join([f"{len(faults)} faults", *faults[:SHOWN]])


# --- random text

anything = st.text(st.characters(exclude_categories=()), max_size=200)  # lone surrogates, too
pieces = st.lists(
    st.sampled_from(
        [
            "RN", "WPL", "CA", "12345", "60000", "00123", "7", "1962", "1,234,567", "%", "100%", "53,5 %",
            "per", "cent", "...", "…", "[", "]", "[cut]", "[tub 30]", "[circle P]", "[QR code]", "[?]",
            "©", "®", "™", "&", "/", "#", "?", "S?LK", "???", "MADE IN", "ITALY", "PRINTED IN", "JAP",
            "NEW YORK", "NY", "LONDON", "W1", "W99 9ZZ", "D-", "80999", "8000", "München", "PARIS", "8e",
            "〒", "999-9999", "絹", "ポリ", "ﾎﾟﾘ", "１００％", "٣٣", "²", "①", "Ⅳ", "ﬁ", "İ", "ß", "e\u0301",
            "\u202e", "\x00", "\ud800", "😀", "-", ".", ",", "'", "’", "£4.99", "12s 6d", "21/-", "€ 5",
            "0171 000 0000", "www.", ".example", "@", "a@b.example", "PAT.", "NO.", "REG. U.S.", "SUPER",
            "WOOL", "SILK", "SOIE", "DRY", "CLEAN", "ONLY", "EST.", "9" * 400, "a.a.a.", "'" * 9,
        ]
    ),
    max_size=25,
)  # fmt: skip


def sound(text: str, label: Label) -> None:
    """What holds for every label."""
    assert label.text == text
    for mark in label.marks:
        assert 0 <= mark.start < mark.end <= len(text), mark
        assert mark.how in (AS_PRINTED, ONE_OFF, GUESSED, CUT)
    assert all(each and each in text for each in label.unread)
    assert set(label.markets) <= {"us", "canada", "europe", "elsewhere"} and label.markets
    assert label.state in ("intact", "cut-or-fragment")
    bounds = label.bounds()
    assert not bounds.not_before > 2300
    assert label == read_label(text)
    for said in (str(label), str(bounds), repr(label), *label.against({"origin": "italy"})):
        assert isinstance(said, str)
    label.facts()
    label.facts(role="guard")


@usual
@given(anything)
def test_random_unicode_is_read_without_a_crash(text: str) -> None:
    sound(text, read_label(text))


@usual
@given(pieces, st.sampled_from(["", " ", "\n", "  "]))
def test_pieces_of_labels_in_any_order_are_read_without_a_crash(
    words: list[str], joint: str
) -> None:
    text = joint.join(words)
    sound(text, read_label(text))


@usual
@given(st.binary(max_size=200))
def test_random_bytes_are_read_without_a_crash(raw: bytes) -> None:
    label = read_label(raw)
    sound(raw.decode("utf-8", "replace"), label)


@pytest.mark.slow
def test_a_thousand_random_texts_of_label_letters_have_sound_tables() -> None:
    """The table of marks is slow to make, so fewer texts than above."""
    rng = np.random.default_rng(3)
    letters = list("ABEILMNORSTU abeilmnorstu 0123456789 .,'-/%?[]©®£€\n絹…")
    for number in range(1000):
        text = "".join(letters[int(at)] for at in rng.integers(0, len(letters), 60))
        label = read_label(text)
        sound(text, label)
        if number % 50 == 0:
            frame = label.to_frame()
            assert len(frame) >= len(label.marks)
            assert set(frame["mark"]) == {mark.mark for mark in label.marks}


# --- cut labels


def cut_places(text: str) -> list[int]:
    """Places where a label can be cut: not within a sign that stands in square brackets."""
    inside = {
        at for match in re.finditer(r"\[[^]\n]*\]", text) for at in range(*match.span()) if at
    } - {match.start() for match in re.finditer(r"\[[^]\n]*\]", text)}
    return [at for at in range(1, len(text)) if at not in inside]


def false_marks(whole: Composed, part: Label) -> list[str]:
    """Marks of a part that the whole does not have, and that do not say that they are cut off."""
    meant = set(whole.marks)
    # of which act a percentage is depends on whether wool is named, which may be what is cut off
    meant |= {(mark, "") for mark in PERCENTS if {(each, "") for each in PERCENTS} & meant}
    return [
        f"{mark.mark} {mark.value} ({mark.how})"
        for mark in part.marks
        if (mark.mark, mark.value) not in meant and (mark.how != CUT or mark.mark in NUMBERED)
    ]


def test_a_cut_label_has_no_mark_that_the_whole_has_not(labels: list[Composed]) -> None:
    """A mark that is not on the whole label carries "cut off", and is no number."""
    rng = np.random.default_rng(11)
    faults, cuts = [], 0
    for whole in labels:
        if pairs(read_label(whole.text)) != set(whole.marks):
            continue  # told of in test_corpus.py
        places = cut_places(whole.text)
        for _ in range(12):
            at = places[int(rng.integers(len(places)))]
            sign = CUT_SIGNS[int(rng.integers(len(CUT_SIGNS)))]
            text = whole.text[:at] + sign if rng.random() < 0.5 else sign + whole.text[at:]
            part = read_label(text)
            false = false_marks(whole, part)
            cuts += 1
            if part.intact:
                false.append("is read as intact")
            if false:
                faults.append(f"{text!r}: {'; '.join(false)} (whole: {whole.text[:90]!r})")
    assert not faults, told(faults)
    assert cuts > 2000


def test_a_label_that_is_cut_between_lines_keeps_the_marks_of_its_lines(
    labels: list[Composed],
) -> None:
    """That the test before this one is not passed by reading nothing."""
    lines = ("100% SILK", "HAND ROLLED", "MADE IN ITALY", "RN 60000", "DRY CLEAN ONLY")
    for number in range(1, len(lines)):
        before = pairs(read_label("\n".join(lines[:number])))
        after = pairs(read_label("\n".join(lines[number:])))
        assert before <= pairs(read_label("\n".join(lines[:number]) + "\n[cut]"))
        assert after <= pairs(read_label("[cut]\n" + "\n".join(lines[number:])))


@pytest.mark.parametrize(
    ("text", "digits"),
    [
        ("ALL SILK\nRN 60000", "60000"),
        ("ALL SILK\nRN 112208", "112208"),
        ("ALL WOOL\nWPL 9000", "9000"),
        ("100% SOIE / SILK\nCA 20000", "20000"),
        ("NEW YORK 16", "16"),
        ("NEW YORK, N.Y. 10016", "10016"),
        ("NEW YORK, NY 10016-1234", "10016-1234"),
        ("PURE SILK\n2900991268060", "2900991268060"),
        ("PURE SILK\n2 90099 12680 60", "2 90099 12680 60"),
        ("PAT. NO. 2,345,678", "2,345,678"),
        ("DES. PAT. 178,123", "178,123"),
        ("REGD. DESIGN 812345", "812345"),
        ("100% SETA\n22100", "22100"),
        ("80331", "80331"),
    ],
)
@pytest.mark.parametrize("sign", CUT_SIGNS)
def test_a_number_that_touches_the_cut_is_no_whole_number(
    text: str, digits: str, sign: str
) -> None:
    start = text.index(digits)
    kinds = NUMBERED | {"zip4", "postcode-italy", "postcode-germany-4", "postcode-germany-5"}
    for at in range(start + 1, start + len(digits)):
        for part in (text[:at] + sign, sign + text[at:]):
            found = {mark.mark for mark in read_label(part).marks} & kinds
            assert not found, part


@pytest.mark.parametrize("sign", CUT_SIGNS)
def test_a_word_that_touches_the_cut_may_be_the_end_of_a_longer_name(sign: str) -> None:
    """ "...JAPAN" may be Occupied Japan: it is read, and says that it is cut off."""
    for text, value in (("JAPAN", "japan"), ("HONG KONG", "hong-kong"), ("GERMANY", "germany")):
        label = read_label(f"{sign}{text}\nPURE SILK")
        assert [(mark.value, mark.how) for mark in label.marks if mark.mark == "origin"] == [
            (value, CUT)
        ]
    whole = read_label("MADE IN JAPAN\nPURE SILK")
    assert [mark.how for mark in whole.marks if mark.mark == "origin"] == [AS_PRINTED]


def test_what_is_missing_from_a_cut_label_says_nothing() -> None:
    """Signs without words, a notice without a year: on a part that is no finding."""
    signs = "[wash 30] [triangle x]"
    assert ("care-symbols", "symbols-alone") in pairs(read_label(signs))
    assert ("care-symbols", "symbols-alone") not in pairs(read_label(f"{signs} ..."))
    assert ("copyright-no-year", "") in pairs(read_label("© UMBRIVELLE"))
    assert ("copyright-no-year", "") not in pairs(read_label("© UMBRI..."))


def test_a_cut_at_the_beginning_says_nothing_of_the_end() -> None:
    assert ("fibre", "linen") not in pairs(read_label("[cut]VELLE\nPURE SILK\nLINE"))
    assert ("fibre", "linen") in pairs(read_label("[cut]VELLE\nPURE SILK\nLINEN"))


# --- letters that are wrong, or cannot be made out


def words_of(text: str) -> Iterator[tuple[int, int]]:
    """Long words outside of brackets and addresses of the web."""
    for match in re.finditer(rf"(?<![\w@.\[])[A-Za-z]{{{LONG},}}(?![\w@'’\]]|\.\w)", text):
        before = text[: match.start()]
        if before.count("[") == before.count("]"):
            yield match.span()


def known_words(priors: Priors) -> set[str]:
    """All words of all phrases."""
    found: set[str] = set()
    steps = list(priors.label.phrases.first.items())
    while steps:
        word, step = steps.pop()
        found.add(word)
        steps += step.after.items()
    return found


def spoilt(
    labels: list[Composed], letters: str, rng: np.random.Generator, known: set[str]
) -> Iterator[tuple[Composed, str, Label]]:
    """Each long word of each label with one letter changed; a change into another word is none."""
    for label in labels:
        if pairs(read_label(label.text)) != set(label.marks):
            continue  # told of in test_corpus.py
        for start, end in words_of(label.text):
            at = int(rng.integers(start, end))
            letter = letters[int(rng.integers(len(letters)))]
            text = label.text[:at] + letter + label.text[at + 1 :]
            if text[start:end].lower() not in known:
                yield label, text, read_label(text)


def test_a_changed_letter_makes_no_other_mark(labels: list[Composed], priors: Priors) -> None:
    rng, faults, read = np.random.default_rng(12), [], 0
    for whole, text, label in spoilt(labels, string.ascii_lowercase, rng, known_words(priors)):
        false = pairs(label) - set(whole.marks)
        read += any(mark.how == ONE_OFF for mark in label.marks)
        if false:
            faults.append(f"{text!r}: {sorted(false)} (whole: {whole.text[:90]!r})")
    assert not faults, told(faults)
    assert read > 50  # some are read indeed


def test_a_letter_that_cannot_be_made_out_makes_no_other_mark(
    labels: list[Composed], priors: Priors
) -> None:
    rng, faults, read = np.random.default_rng(13), [], 0
    for whole, text, label in spoilt(labels, "?", rng, known_words(priors)):
        false = pairs(label) - set(whole.marks)
        read += any(mark.how == GUESSED for mark in label.marks)
        if false:
            faults.append(f"{text!r}: {sorted(false)} (whole: {whole.text[:90]!r})")
    assert not faults, told(faults)
    assert read > 50


@pytest.mark.parametrize(
    ("word", "pair"),
    [  # no other word of the tables is two letters off
        ("CZECHOSLOVAKIA", ("origin", "czechoslovakia")),
        ("SWITZERLAND", ("origin", "switzerland")),
        ("BANGLADESH", ("origin", "bangladesh")),
        ("KUNSTSEIDE", ("fibre", "artificial-silk")),
        ("ALGODON", ("fibre", "cotton")),
    ],
)
def test_every_misprint_of_a_long_word_is_read_and_says_so(
    word: str, pair: tuple[str, str]
) -> None:
    """A letter changed, left out, or unreadable, at every place."""
    for at in range(len(word)):
        for letter in string.ascii_uppercase:
            if letter != word[at]:
                check_one(word[:at] + letter + word[at + 1 :], pair, ONE_OFF)
        check_one(word[:at] + "?" + word[at + 1 :], pair, GUESSED)
        if word[:at] + word[at + 1 :] != word[: at + 1] + word[at + 2 :]:
            check_one(word[:at] + word[at + 1 :], pair, ONE_OFF)


def check_one(text: str, pair: tuple[str, str], how: str) -> None:
    found = [(mark.mark, mark.value, mark.how) for mark in read_label(text).marks]
    assert found == [(*pair, how)], text


def test_short_words_are_not_mended() -> None:
    """Of short words too many are one letter off: LIME, LINT and MINK are no linen, lino or silk."""
    for word in ("MINK", "SULK", "LINT", "LIME", "ROYON", "WOOD", "GOLD", "SEAT"):
        marks = read_label(word).marks
        assert all(mark.how != AS_PRINTED for mark in marks), word
        assert not [mark for mark in marks if len(word) < 5], word


# --- what makes no difference


def test_line_breaks_between_words_make_no_difference(labels: list[Composed]) -> None:
    """Line breaks are blanks (``read_label``), outside of the square brackets that stand for a sign."""
    rng, faults = np.random.default_rng(14), []
    for label in labels:
        text = list(label.text)
        for at, letter in enumerate(text[1:-1], 1):
            before = label.text[:at]
            outside = before.count("[") == before.count("]")
            digits = text[at - 1].isdecimal() and text[at + 1].isdecimal()
            if letter == " " and outside and not digits and rng.random() < 0.5:
                text[at] = "\n"
        broken = "".join(text)
        found, meant = pairs(read_label(broken)), pairs(read_label(label.text))
        if found != meant:
            faults.append(f"{broken!r}: {sorted(found ^ meant)}")
    assert not faults, told(faults)


def test_more_blanks_between_lines_make_no_difference(labels: list[Composed]) -> None:
    faults = []
    for label in labels:
        for other in ("\n\n", "\r\n", " \n ", "\n\t", "\u3000\n"):
            text = label.text.replace("\n", other)
            found, meant = pairs(read_label(text)), pairs(read_label(label.text))
            if found != meant:
                faults.append(f"{text!r}: {sorted(found ^ meant)}")
    assert not faults, told(faults)


@pytest.mark.parametrize("change", [str.upper, str.lower, str.swapcase])
def test_capitals_make_no_difference(labels: list[Composed], change: object) -> None:
    assert callable(change)
    faults = []
    for label in labels:
        text = change(label.text)
        found, meant = pairs(read_label(text)), pairs(read_label(label.text))
        differ = {pair for pair in found ^ meant if pair[0] != CAPITALS}
        if differ:
            faults.append(f"{text!r}: {sorted(differ)} (as composed: {label.text[:90]!r})")
    assert not faults, told(faults)


def test_accents_that_are_left_out_make_no_difference(labels: list[Composed]) -> None:
    """Capitals were often printed without accents."""
    accents = str.maketrans(
        "ÀÁÂÄÇÈÉÊËÎÏÑÓÔÖÙÚÛÜàáâäçèéêëîïñóôöùúûü", "AAAACEEEEIINOOOUUUUaaaaceeeeiinooouuuu"
    )
    for label in labels:
        assert pairs(read_label(label.text.translate(accents))) == pairs(read_label(label.text))


def test_the_tokens_of_every_label_lie_in_its_text_in_order(labels: list[Composed]) -> None:
    for label in labels:
        place = 0
        for _, start, end in label_tokens(plain_label(label.text)):
            assert place <= start < end <= len(label.text)
            place = end


# --- time

MEGABYTE = 1_000_000
HOSTILE = {
    "one letter": "a",
    "digits with blanks": "1 2 3 ",
    "open brackets": "[",
    "points": "a.a.a.",
    "question marks": "?",
    "openings": "made in ",
    "long unknown words": "qzvxkjwyfghbqzvxkjwyfghbqzvxkjwyfghb ",
    "Japanese": "絹漢ポリ",
}
# each of these begins again at every place, looks back, or asks for what came before
MORE = {
    "cuts in brackets": "[cut] ",
    "codes of nine digits": "10016-1234 ",
    "points and cuts": "a... ",
    "half addresses": "www.",
    "at signs": "x@",
    "notices": "1962 © ",
    "numbers without words": "7% ",
    "London districts": "london w1 ",
    "signs": "[wash 30] ",
    "wide blanks": " " * 50 + "\n",
    "countries and fibres": "printed in italy 5% silk ",
}


def of_bytes(piece: str, size: int) -> str:
    """A piece repeated to so many bytes of UTF-8."""
    return piece * (size // len(piece.encode()) + 1)


def rises_in_line(make: Callable[[int], str], size: int) -> None:
    """Four times the text takes in line with four times the time."""
    growth.rises_in_line(make, read_label, size, 4)


@pytest.mark.slow
@pytest.mark.parametrize("kind", HOSTILE)
def test_time_rises_in_line_with_the_text(kind: str) -> None:
    for size in (
        MEGABYTE // 10,
        MEGABYTE // 2,
    ):  # the small ones first, not to wait long for a fault
        rises_in_line(lambda size: of_bytes(HOSTILE[kind], size), size)


@pytest.mark.slow
@pytest.mark.parametrize("kind", MORE)
def test_time_rises_in_line_where_a_reader_looks_about(kind: str) -> None:
    rises_in_line(lambda size: of_bytes(MORE[kind], size), MEGABYTE // 5)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("first", "then"),
    [("washable ", "5% silk "), ("qzvxkj ", "80999 munchen "), ("1962 ", "© "), ("silk ", "lana 5% ")],
)  # fmt: skip
def test_time_rises_in_line_when_much_stands_before(first: str, then: str) -> None:
    """What is looked for among all that was read before must not be looked for one by one."""
    rises_in_line(
        lambda size: of_bytes(first, size // 2) + of_bytes(then, size // 2), MEGABYTE // 5
    )


@pytest.mark.slow
@pytest.mark.parametrize("megabytes", [2, pytest.param(10, marks=pytest.mark.long)])
def test_megabytes_of_each_kind_end_in_six_seconds_each_on_one_core(megabytes: int) -> None:
    """Ten of them in a minute. Processor time, so that other work on the machine does not count."""
    start = time.process_time()
    for piece in HOSTILE.values():
        read_label(of_bytes(piece, megabytes * MEGABYTE))
    assert time.process_time() - start < 6 * megabytes
