"""What only the whole of a label tells: which fibre a percentage is of, whose a postal code is, what of
it is cut, where it was offered, and what it says of other clues."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Set
from operator import itemgetter

from scarfdate.reading.label_content import adds_up, check_shares, read_content
from scarfdate.reading.label_marks import CUT_OFF, ONE_OFF, Bare, Draft, Mark, Printed, Span
from scarfdate.reading.label_phrases import LabelPhrases
from scarfdate.reading.label_signs import ARTICLE, BEFORE_A_CODE
from scarfdate.tables.label import ORIGIN, LabelRules, Series
from scarfdate.words.phrases import CUT

_JOINS = (" ", "-", " & ", "'")
_BRITISH = "british-patent"
_BESIDE = 3  # characters between a code and its town
_IN_DIGITS = frozenset({"rn", "wpl", "ca-number", "patent", "british-patent", "design-patent", "registered-design",
                        "postal-zone", "zip", "zip4", "upc", "ean", "copyright-year"})  # fmt: skip
_CODES_IN_DIGITS = ("postcode-", "phone-", "price-")
_WITH_A_NUMBER = ("copyright-no-year", "registered-design", "design-patent")
_IN_ORDER = itemgetter(*map(Mark._fields.index, ("start", "end", "mark", "value", "how")))
_CARE_KINDS, _FULL_CARE = ("wash", "bleach", "tumble", "line-dry", "iron", "dry-clean"), 4
_PATENTS = ("patent", _BRITISH)
_END_OF_A_WORD = re.compile(r"[^\W\d_]{1,5}\.? ?")
_LETTER = re.compile(r"[^\W\d]")  # what parts a number from a cut


def read_whole(rules: LabelRules, printed: Printed, phrases: LabelPhrases, draft: Draft) -> None:
    """Add to the draft what no word of the label tells alone; its marks then stand in order."""
    if draft.digits:
        _read_postcodes(rules, printed, phrases, draft)
    if draft.content:
        read_content(rules, printed, draft)
    if draft.bare:
        _read_names(rules, printed, draft)
    there = {mark.mark for mark in draft.marks}
    if ORIGIN in there or "worked-in" in there:
        _read_origins(rules, draft)
    if "firm" in there:
        _read_firms(rules, draft)
    if draft.anybodys:
        _read_patents(rules, draft)
    if "care" in there:
        _read_full_care(draft)
    if draft.symbols:
        _read_care(draft)
    if draft.shares:
        check_shares(draft)
    if phrases.has_cuts:
        _mark_cuts(printed, draft)
    draft.marks = sorted(set(draft.marks), key=_IN_ORDER)


# --- postal codes, countries, care


def _read_postcodes(
    rules: LabelRules, printed: Printed, phrases: LabelPhrases, draft: Draft
) -> None:
    """Digits that may be a postal code: the town behind tells whose, or the firm form or the language."""
    unread = set(draft.unread)
    likely = _likely_country(rules, draft)
    for start, end, at in draft.digits:
        following = printed.tokens[at + 1 : at + 2]
        town = ""
        if following and following[0][1] - end <= _BESIDE:  # nothing that was taken out between
            town = phrases.city(at + 1)
        country = rules.clue_word("city", town)
        if ARTICLE.search(printed.plain, max(0, start - BEFORE_A_CODE), start):
            continue
        # behind a style number stands no unknown word on its line, behind a code that of a town
        named = bool(following) and following[0][1:] in unread
        guessed = not country and named and "\n" not in printed.plain[end : following[0][1]]
        for code in rules.postcodes:
            if code.digits != end - start or (start, end) not in unread:
                continue
            if code.country == country or (guessed and code.language and code.country == likely):
                draft.add(code.mark, "", start, end)
                unread.discard((start, end))
    draft.unread = list(unread)


def _read_firms(rules: LabelRules, draft: Draft) -> None:
    """A firm form of several countries, where the label is of one in which it has a law of its own: a French S.A.S. is
    younger than an Italian one."""
    named = draft.values(ORIGIN)
    country = _spoken_in(rules, draft) if not named else named[0] if len(named) == 1 else ""
    draft.marks = [
        mark._replace(value=f"{mark.value}-{country}")
        if mark.mark == "firm" and ("firm", f"{mark.value}-{country}") in rules.titles
        else mark
        for mark in draft.marks
    ]


def _read_patents(rules: LabelRules, draft: Draft) -> None:
    """A patent of which no country is said, on a label that was made in Britain and has no mark of another
    market's own, is a British one."""
    home = rules.homes.get(_BRITISH, ())
    others = (rules.homes.get(m.mark, home) for m in draft.marks if m.mark not in _PATENTS)
    abroad = not all(set(home) & set(each) for each in (*others, *draft.homes))
    british = any((_BRITISH, country) in rules.names for country in draft.values(ORIGIN))
    series = rules.series.get(_BRITISH)
    if british and not abroad and series is not None:
        anybodys = {*draft.anybodys}
        draft.marks = [
            _as_british(mark, series) if mark in anybodys else mark for mark in draft.marks
        ]


def _as_british(mark: Mark, series: Series) -> Mark:
    """The number of a patent in the British series; one that is larger than any there stays American."""
    number = float(mark.value or "nan")
    if series.is_beyond(number):
        return mark
    # numbers below the first began anew each year
    return mark._replace(mark=_BRITISH, value=mark.value if number >= series.numbers[0] else "")


def _likely_country(rules: LabelRules, draft: Draft) -> str:
    """The country that the firm form tells, or the one language that fibres are named in."""
    for mark in draft.marks:
        country = rules.clue_word("firm", mark.value) if mark.mark == "firm" else ""
        if country:
            return country
    return _spoken_in(rules, draft)


def _spoken_in(rules: LabelRules, draft: Draft) -> str:
    """The country of the one language that fibres are named in; "" where that is not known."""
    spoken = {one.language for one in draft.content if one.fibre}
    countries = {code.country for code in rules.postcodes if code.language in spoken - {""}}
    return countries.pop() if len(countries) == 1 and "en" not in spoken else ""


def _read_names(rules: LabelRules, printed: Printed, draft: Draft) -> None:
    """Countries and fibres in the name of a maker: "China Doll" where "made in Italy" is said, too.

    A fibre is none of the cloth where percentages tell the whole of it and give it no share. One that is a
    misprint, or beside a word of a name, is none where another is said to be all of it.
    """
    said = {*draft.values(ORIGIN)} - {
        one.mark.value for one in draft.bare if one.mark.mark == ORIGIN
    }
    shared = {rules.clue_word("fibre", name) for name in draft.shares}
    by_shares = bool(shared) and not draft.parts and adds_up(draft)
    whole = _said_whole(rules, draft)
    if not (said or by_shares or whole):
        return
    gone: set[Mark] = set()
    words = {*draft.unread, *draft.known}
    for one in draft.bare:
        mark, name = one.mark, rules.clue_word("fibre", one.mark.value)
        of_place = mark.mark == ORIGIN
        if by_shares and not of_place:
            other = name not in shared
        else:
            all_said, value = (said, mark.value) if of_place else (whole, name)
            other = bool(all_said) and value not in all_said
            other = other and (mark.how == ONE_OFF or _beside_a_name(printed, words, one))
        if other:
            gone.add(mark)
            draft.unread.append((mark.start, mark.end))
    if not gone:
        return
    draft.marks = [mark for mark in draft.marks if mark not in gone]
    spans = {(mark.start, mark.end) for mark in gone}
    draft.content = [one for one in draft.content if (one.start, one.end) not in spans]


def _said_whole(rules: LabelRules, draft: Draft) -> set[str]:
    """The fibres that are said to be all of the cloth in words: "all silk"."""
    places = {(mark.start, mark.end) for mark in draft.marks if mark.mark == "whole-fibre"}
    if not places:
        return set()
    return {
        rules.clue_word("fibre", mark.value)
        for mark in draft.marks
        if mark.mark == "fibre" and (mark.start, mark.end) in places
    }


def _beside_a_name(printed: Printed, words: Set[Span], one: Bare) -> bool:
    """Whether a word that is no mark stands just beside: "Doll" of "China Doll"."""
    tokens = printed.tokens
    for place, gap in ((one.at - 1, one.at), (one.behind, one.behind)):
        if not 0 <= place < len(tokens):
            continue
        token, start, end = tokens[place]
        between = printed.plain[tokens[gap - 1][2] : tokens[gap][1]]
        if between in _JOINS and token.isalpha() and (start, end) in words:
            return True
    return False


def _read_origins(rules: LabelRules, draft: Draft) -> None:
    countries = draft.values(ORIGIN)
    worked_in = draft.values("worked-in")
    if worked_in and not countries and not draft.cut:
        # where it was hemmed or printed is all that is said
        draft.marks = [
            mark._replace(mark=ORIGIN) if mark.mark == "worked-in" else mark for mark in draft.marks
        ]
        countries = worked_in
    if len({rules.clue_word(ORIGIN, each) or each for each in countries}) > 1:
        draft.flags.append(f"more than one country is named: {', '.join(sorted(countries))}")


def _read_full_care(draft: Draft) -> None:
    """Care of so many kinds in words is a mark of its own: it came with a rule."""
    care = [mark for mark in draft.marks if mark.mark == "care"]
    kinds = {kind for mark in care for kind in _CARE_KINDS if kind in mark.value}
    if len(kinds) >= _FULL_CARE:
        draft.add("care-full", "", care[0].start, care[-1].end)


def _read_care(draft: Draft) -> None:
    first, last = draft.symbols[0], draft.symbols[-1]
    draft.marks.append(first)
    in_words = any(mark.mark == "care" for mark in draft.marks)
    # signs of another kind have rules of their own
    other = any(m.mark == "care-symbols" and m.value.startswith("japan") for m in draft.marks)
    if not in_words and not other and not draft.cut:  # words may be what is cut off
        draft.marks.append(first._replace(value="symbols-alone", end=last.end))


# --- cuts


def _mark_cuts(printed: Printed, draft: Draft) -> None:
    """A word beside a cut may be a part of a longer one, and says so; a number is not read at all."""
    cuts = [(start, end) for token, start, end in printed.tokens if token == CUT]
    starts, ends = [start for start, _ in cuts], [end for _, end in cuts]
    kept = []
    for mark in draft.marks:
        gaps: list[Span] = []  # between the mark and the next cut on either side
        before, after = bisect_right(ends, mark.start) - 1, bisect_left(starts, mark.end)
        if before >= 0:
            gaps.append((ends[before], mark.start))
        if after < len(cuts):
            gaps.append((mark.end, starts[after]))
        gaps = [gap for gap in gaps if printed.same_line(*gap)]
        beside = any(not _LETTER.search(printed.plain, *gap) for gap in gaps)
        if mark.mark in _PATENTS and gaps and gaps[0][1] == mark.start:
            # "...s. Pat. 52,481": the end of the word that tells whose series it is
            beside = beside or _END_OF_A_WORD.fullmatch(printed.plain, *gaps[0]) is not None
        in_digits = mark.mark in _IN_DIGITS or mark.mark.startswith(_CODES_IN_DIGITS)
        # the year or the number may be what is cut off
        lacks_number = bool(gaps) and not mark.value and mark.mark in _WITH_A_NUMBER
        if lacks_number or (beside and in_digits):
            draft.unread.append((mark.start, mark.end))
        elif gaps and mark.end - mark.start < len(printed.text):
            kept.append(mark._replace(how=CUT_OFF))
        else:
            kept.append(mark)
    draft.marks = kept
