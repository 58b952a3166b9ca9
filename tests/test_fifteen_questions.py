"""What people really ask, typed at the prompt in under ten words, and what an answer must and must not say.

The questions are gathered from public forums, blogs and enquiries, in our own words. Expected words and years are
those of dated facts: 16 CFR 423 and 303.20 (care, registration numbers), 19 CFR 134 with the occupation of Japan
1945-52, first ink-jet prints on cloth 1989-91; the rest is common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from click.testing import CliRunner

from scarfdate import Scarf, ScarfdateError, WordError, load_priors
from scarfdate.cli import cli

NEVER = r"\bauthentic\b|genuine|guarantee|certain to|definitely|posterior|prior\b|likelihood"
RANGE = r"\d{4}-\d{4}"


@dataclass(frozen=True)
class Asked:
    """A question, what is typed, and patterns that the answer must and must not hold."""

    question: str
    typed: tuple[str, ...]
    must: tuple[str, ...]
    must_not: tuple[str, ...] = ()
    code: int = 0


QUESTIONS = (
    Asked("no label: what decade?", ("show", "form=square", "fibre=silk", "label=none", "motif=floral"),
          (RANGE, r"19[567]0s", r"\d+ %", "floral"), (r"mainly because[^.]*label",)),
    Asked("a care label: later?", ("label", "DRY CLEAN ONLY"),
          ("July 1972", "by choice from the 1950s"), (r"not before 1972",)),
    Asked("no care label: older?", ("show", "label=none-seen"), ("hardly narrow", "almost nothing about age"), (r"older because",)),
    Asked("no label: cut off?", ("words", "no label"), ("cut off", "almost nothing"), (RANGE,)),
    Asked("the registration number?", ("label", "RN 60000"),
          ("not older than its number", "may be much younger"), (r"made in 19\d\d",)),
    Asked("a number half read?", ("label", "RN 82???"), ("not read",), ("was ever given",)),
    Asked("large signature, ©?", ("show", "signature=large", "label_text=©"),
          (RANGE, "large signature"), (r"Not before",)),
    Asked("the © alone?", ("label", "©"), ("copyright sign", "usual from"), (r"made in 19\d\d",)),
    Asked("is it real?", ("show", "real"), ("no proof",), (r"\d+ ?%",), code=2),
    Asked("is it real, and when?", ("show", "fibre=silk", "form=square"),
          (RANGE, r"(?i)nothing here (says|speaks)|no word on authenticity|authentic"), (r"Of its period",)),
    Asked("does the thing shown date it?", ("show", "motif=commemorative", "depicted_year=1953"),
          ("Not before 1950", "announced 3 years ahead"), ("Made in 1953",)),
    Asked("before, at or after the event?", ("show", "depicted_year=1937", "depicted_announced=yes"),
          ("Not before 1934", "announced 3 years ahead"), ("Not before 1937",)),
    Asked("first issue or reissue?", ("show", "printed_year=1962", "print_technique=digital"),
          ("Not before 1989", "design", "printed again"), (r"Made 1961",)),
    Asked("what is a reissue?", ("words", "reissue"), ("not before", "printed again later"), (RANGE,)),
    Asked("silk, or not silk?", ("show", "fibre=not silk"), (RANGE,), (r"fibre silk",)),
    Asked("how do I tell?", ("words", "silk or not"), ("can burn you", "not needed for a date")),
    Asked("what to look at?", ("next", "fibre=not silk"), ("minute",), (r"(?m)^\s*\d+\.? .*flame",)),
    Asked("does hand rolling mean old?", ("words", "hand rolling"), ("more of the price than of the age",)),
    Asked("and a date of it?", ("show", "hem=hand-rolled"), (RANGE, "hand"), (r"Not before",)),
    Asked("the origin wording?", ("label", "MADE IN OCCUPIED JAPAN"), ("1947|1945", "1952"), ("no bound",)),
    Asked("in the cloth or on a tag?", ("words", "label_make"), ("itself", "woven into a ribbon", "heat")),
    Asked("that style of label?", ("words", "label style"), ("is no clue", "lists contradict")),
    Asked("do shape and size date it?", ("show", "size=16x16 in"), (RANGE, "16|40|41"), ()),
    Asked("scarf, handkerchief, set?", ("words", "set"), ("handkerchief", "no clue")),
    Asked("faded?", ("show", "palette=faded"), ("not looked at",), (r"by [^.]*(pastel|muted)",)),
    Asked("too modern to be old?", ("words", "too modern"), ("no limit", "comes back")),
    Asked("vintage?", ("words", "vintage"), ("twenty years", "no statute")),
)  # fmt: skip


def one_line(text: str) -> str:
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("asked", QUESTIONS, ids=lambda asked: asked.question)
def test_it_is_answered(asked: Asked) -> None:
    assert len(" ".join(("scarfdate", *asked.typed)).split()) < 10
    found = CliRunner().invoke(cli, list(asked.typed))
    assert found.exit_code == asked.code, found.output
    said = one_line(found.output)
    for pattern in asked.must:
        assert re.search(pattern, said), (pattern, said)
    for pattern in (*asked.must_not, NEVER):
        assert not re.search(pattern, said), (pattern, said)


def test_a_question_is_told_from_a_clue() -> None:
    """No question takes a word that a clue is written with, and an unknown word stays an error."""
    priors = load_priors()
    for words in priors.questions:
        name = words.replace(" ", "_")
        assert name not in priors.families and name not in priors.vocabulary.values
        assert str(priors.words(words)).strip()
        assert priors.words(words).words == ()
    with pytest.raises(WordError, match="no clue 'hemm' is known; did you mean 'hem'"):
        priors.words("hemm")


@pytest.mark.parametrize("asked", ["design_year=1972", "label_style=gold", "real=yes", "set=yes"])
def test_what_is_no_clue_is_answered_where_it_was_written(asked: str) -> None:
    found = CliRunner().invoke(cli, ["show", "fibre=silk", asked])
    assert found.exit_code == 2
    name = asked.partition("=")[0]
    answer = load_priors().question(name)
    assert answer is not None and answer.says in one_line(found.output)


def test_a_number_of_a_label_is_told_where_it_belongs() -> None:
    found = CliRunner().invoke(cli, ["explain", "rn=17000", "--claim", "1950s"])
    said = one_line(found.output)
    assert "label_text" in said and 'Type: scarfdate label "RN 60000"' in said


def test_the_library_answers_as_the_prompt_does() -> None:
    with pytest.raises(WordError, match="a design can be printed again later"):
        Scarf(design_year=1972)
    with pytest.raises(WordError, match="scarfdate words lists them"):
        Scarf(backing="card")
    with pytest.raises(WordError, match="scarfdate words hem lists its words"):
        Scarf(hem="hemmed by gran")


def test_every_command_in_an_answer_works() -> None:
    import shlex

    for question in load_priors().questions.values():
        if question.type:
            name, *typed = shlex.split(question.type)
            found = CliRunner().invoke(cli, typed)
            assert (name, found.exit_code) == ("scarfdate", 0), (question.type, found.output)


def test_two_questions_by_the_same_words_are_refused(tmp_path) -> None:  # type: ignore[no-untyped-def]
    import shutil
    from pathlib import Path

    folder = Path(shutil.copytree(load_priors().folder, tmp_path / "own"))
    with (folder / "questions.csv").open("a", encoding="utf-8") as file:
        file.write("mine,Réal,Perhaps.,,memory,,\n")
        file.write("hem,hem,Perhaps.,,memory,,\n")
    with pytest.raises(ScarfdateError, match=r"(?s)asked.*Réal.*hem"):
        load_priors(folder)


@pytest.mark.parametrize("clue", ["fibre", "hem", "motif", "palette", "form", "label"])
def test_words_of_other_languages_say_which(clue: str) -> None:
    """German, French, Italian and Spanish (ISO 639-1), and of some clues Dutch; words that several share, and
    English ones, say none."""
    said = {language for one in load_priors().words(clue).words for _, language in one.also}
    assert {"de", "fr", "it", "es", ""} <= said <= {"de", "fr", "it", "es", "nl", ""}


def test_a_long_list_of_words_says_how_many_more() -> None:
    """A screen that is not read is no help: the first twenty of each word, and all where they are asked for."""
    listed = load_priors().words("motif")
    many = max(listed.words, key=lambda one: len(one.also))
    assert f"and {len(many.also) - 20} more" in " ".join(str(listed).split())
    every = " ".join(listed.text().split())
    assert all(word in every for word, _ in many.also)
    asked = CliRunner().invoke(cli, ["words", "motif", "--all"])
    assert asked.output.split() == listed.text().split()
