"""Tokens, the tree of phrases and misspelt words, beside the plainest way to find each."""

from __future__ import annotations

import random
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate.words.phrases import (
    Phrases,
    Spelling,
    label_tokens,
    medium_tokens,
    plain_label,
)

WORDS = ("silk", "of", "twill", "pure", "silkworm", "italy", "france", "handrolled")
TOKENS = st.lists(st.sampled_from(WORDS), min_size=1, max_size=4)
CALM = settings(deadline=None, derandomize=True)


def as_tokens(words: list[str]) -> list[tuple[str, int, int]]:
    return [(word, 10 * at, 10 * at + len(word)) for at, word in enumerate(words)]


@CALM
@given(st.lists(TOKENS, max_size=8), st.lists(st.sampled_from(WORDS), min_size=1, max_size=10))
def test_the_longest_phrase_is_that_of_a_search_through_all(
    known: list[list[str]], text: list[str]
) -> None:
    phrases = Phrases[str]()
    for words in known:
        fresh = " ".join(words) not in {" ".join(each) for each in known[: known.index(words)]}
        if fresh:
            phrases.add(as_tokens(words), " ".join(words))
    for at in range(len(text)):
        lengths = [len(words) for words in known if text[at : at + len(words)] == words]
        match = phrases.longest(as_tokens(text), at)
        if not lengths:
            assert match is None
        else:
            assert match == (" ".join(text[at : at + max(lengths)]), max(lengths), False)


def test_a_phrase_goes_in_once_and_never_without_a_token() -> None:
    phrases = Phrases[str]()
    assert phrases.add(as_tokens(["pure", "silk"]), "a")
    assert not phrases.add(as_tokens(["pure", "silk"]), "b")
    assert not phrases.add([], "c")
    assert phrases.longest(as_tokens(["pure", "silk"]), 0) == ("a", 2, False)


def test_only_a_later_word_may_be_misprinted_and_only_where_asked() -> None:
    for misprints, match in ((True, ("origin", 2, True)), (False, None)):
        phrases = Phrases[str](misprints=misprints)
        phrases.add(as_tokens(["republic", "france"]), "origin")
        assert phrases.longest(as_tokens(["republic", "frnace"]), 0) == match
        assert phrases.longest(as_tokens(["repuplic", "france"]), 0) is None
        assert phrases.longest(as_tokens(["repuplic", "frnace"]), 0, instead="republic") is None


def one_slip(word: str) -> set[str]:
    """Every word that is one slip away, written out."""
    letters = "abcdefghijklmnopqrstuvwxyz"
    found = {word[:at] + word[at + 1 :] for at in range(len(word))}
    found |= {word[:at] + new + word[at + 1 :] for at in range(len(word)) for new in letters}
    found |= {word[:at] + new + word[at:] for at in range(len(word) + 1) for new in letters}
    return found | {
        word[:at] + word[at + 1] + word[at] + word[at + 2 :] for at in range(len(word) - 1)
    }


@pytest.mark.slow
def test_misprints_are_those_one_slip_away() -> None:
    rng = random.Random(4)
    words = {"".join(rng.choices("ab", k=rng.randint(3, 7))) for _ in range(60)}
    spelling = Spelling(frozenset(words))
    for _ in range(300):
        token = "".join(rng.choices("abc", k=rng.randint(5, 7)))
        near = {word for word in words if len(word) >= 5 and word in one_slip(token)}
        assert set(spelling.misprinted(token)) == near - ({token} - words)
        assert set(spelling.ending_in(token[:4])) == {
            word for word in words if word.endswith(token[:4]) and word != token[:4]
        }
        assert set(spelling.beginning_with(token[:3])) == {
            word for word in words if word.startswith(token[:3]) and word != token[:3]
        }
        guessed = "?" + token[1:]
        assert set(spelling.fitting(guessed)) == {
            word for word in words if len(word) == len(token) and word[1:] == token[1:]
        }


@CALM
@given(st.text(max_size=60))
def test_plain_letters_keep_every_place(text: str) -> None:
    plain = plain_label(text)
    assert len(plain) == len(text)
    place = 0
    for _, start, end in label_tokens(plain):
        assert place <= start < end <= len(text)
        place = end


@pytest.mark.parametrize("letter", "ÀÁÂÃÄÅÇÈÉÊËÌÍÎÏÑÒÓÔÕÖÙÚÛÜÝŠŽŸĀČĞİŁ")
def test_accents_and_capitals_do_not_count(letter: str) -> None:
    bare = unicodedata.normalize("NFKD", letter)[0].lower()
    for each in (letter, letter.lower()[0]):
        if bare.isascii():
            assert plain_label(each) == bare
            assert [token for token, _, _ in medium_tokens(each)] == [bare]


def test_letters_of_their_own_width_and_signs_are_plain() -> None:
    assert plain_label("ØœÆß ＡＢ１％ ｼﾙｸ ’–\xa0") == "ooas ab1% シルク '- "
    assert [token for token, _, _ in label_tokens("s.r.l. l'amie ... re-used")] == [
        "srl", "lamie", "…", "re", "used",
    ]  # fmt: skip
    assert [token for token, _, _ in medium_tokens("Screen-printed, 33,5 %")] == [
        "screen", "printed", ",", "33,5", "%",
    ]  # fmt: skip
