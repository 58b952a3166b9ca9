"""What only the whole of a label tells: which fibre a percentage is of, whose a postal code is, what of
it is cut, where it was offered, and what it says of other clues."""

from __future__ import annotations

import math
import re
from bisect import bisect_left, bisect_right
from operator import itemgetter

from scarfdate.conventions import MARKETS
from scarfdate.reading.label_marks import CUT_OFF, Content, Draft, Mark, Printed, Span
from scarfdate.reading.label_phrases import LabelPhrases
from scarfdate.tables.label import ORIGIN, LabelRules
from scarfdate.tables.priors import Priors
from scarfdate.words.phrases import CUT

_WHOLE, _SLACK = 100.0, 1.0  # per cent
_BESIDE = 3  # characters between a code and its town
_JOINED = 4  # characters between unread words that are shown together
_IN_DIGITS = frozenset({"rn", "wpl", "ca-number", "patent", "design-patent", "registered-design",
                        "postal-zone", "zip", "zip4", "upc", "ean", "copyright-year"})  # fmt: skip
_CODES_IN_DIGITS = ("postcode-", "phone-", "price-")
_WITH_A_NUMBER = ("copyright-no-year", "registered-design", "design-patent")
_IN_ORDER = itemgetter(*map(Mark._fields.index, ("start", "end", "mark", "value", "how")))
_LETTER = re.compile(r"[^\W\d]")  # what parts a number from a cut


def read_whole(rules: LabelRules, printed: Printed, phrases: LabelPhrases, draft: Draft) -> None:
    """Add to the draft what no word of the label tells alone; its marks then stand in order."""
    if draft.digits:
        _read_postcodes(rules, printed, phrases, draft)
    if draft.content:
        _read_content(rules, printed, draft)
    _read_origins(draft)
    if draft.symbols:
        _read_care(draft)
    if draft.shares:
        _check_shares(draft)
    if phrases.has_cuts:
        _mark_cuts(printed, draft)
    draft.marks = sorted(set(draft.marks), key=_IN_ORDER)


# --- fibres and percentages


def _read_content(rules: LabelRules, printed: Printed, draft: Draft) -> None:
    if not all(one.fibre for one in draft.content):
        _read_percentages(rules, printed, draft)
    languages: dict[str, set[str]] = {}
    for one in draft.content:
        if one.fibre:
            languages.setdefault(one.fibre, set()).add(one.language)
    if any("fr" in each and each & {"en", "any"} for each in languages.values()):
        draft.add("bilingual", "", 0, len(printed.text))
    if draft.shares and any("ja" in each for each in languages.values()):
        draft.add("japanese-content", "", 0, len(printed.text))


def _read_percentages(rules: LabelRules, printed: Printed, draft: Draft) -> None:
    """Each percentage to its fibre: "60 % silk" or "silk 60 %", as the first and the last tell."""
    content = draft.content
    fibre_first = bool(content[0].fibre) and not content[-1].fibre
    following: list[Content | None] = [None]  # the fibre named next after each, from the last
    for one in content[:0:-1]:
        following.append(one if one.fibre else following[-1])
    before: Content | None = None
    place: Span | None = None
    for one in content:
        after = following.pop()
        if one.fibre:
            before = one
            continue
        fibre = _fibre_of(printed, one, before, after, fibre_first=fibre_first)
        if fibre is None:
            draft.unread.append((one.start, one.end))
            draft.flags.append("a percentage without a fibre was read")
            continue
        # the same share twice is one fibre named in two languages
        draft.shares[fibre] = max(one.per_cent, draft.shares.get(fibre, 0.0))
        place = place or (one.start, one.end)
    if place is None:
        return
    named = {rules.clue_word("fibre", one.fibre) for one in content if one.fibre}
    # wool has an act of its own, older than that on all other textiles
    draft.add("wool-percent" if "wool" in named else "fibre-percent", "", *place)


def _check_shares(draft: Draft) -> None:
    total = sum(draft.shares.values())
    if abs(total - _WHOLE) > _SLACK:
        draft.flags.append(f"the percentages add up to {total:g}, not to 100")


def _fibre_of(
    printed: Printed, share: Content, before: Content | None, after: Content | None, *,
    fibre_first: bool,
) -> str | None:  # fmt: skip
    """The fibre of one percentage: the one on its line, else that on the side where fibres stand."""
    near_before = before is not None and printed.same_line(before.end, share.start)
    near_after = after is not None and printed.same_line(share.end, after.start)
    if near_before != near_after:
        fibre = before if near_before else after
    else:
        fibre = before if fibre_first else after or before
    return None if fibre is None else fibre.fibre


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


def _likely_country(rules: LabelRules, draft: Draft) -> str:
    """The country that the firm form tells, or the one language that fibres are named in."""
    for mark in draft.marks:
        country = rules.clue_word("firm", mark.value) if mark.mark == "firm" else ""
        if country:
            return country
    spoken = {one.language for one in draft.content if one.fibre}
    countries = {code.country for code in rules.postcodes if code.language in spoken - {""}}
    return countries.pop() if len(countries) == 1 and "en" not in spoken else ""


def _read_origins(draft: Draft) -> None:
    countries = draft.values(ORIGIN)
    worked_in = draft.values("worked-in")
    if worked_in and not countries and not draft.cut:
        # where it was hemmed or printed is all that is said
        draft.marks = [
            mark._replace(mark=ORIGIN) if mark.mark == "worked-in" else mark for mark in draft.marks
        ]
        countries = worked_in
    if len(countries) > 1:
        draft.flags.append(f"more than one country is named: {', '.join(sorted(countries))}")


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


# --- what follows for the label


def offered_in(rules: LabelRules, draft: Draft) -> tuple[str, ...]:
    """The markets where all marks are at home; where there is none, where any of them is."""
    homes = [rules.homes[mark.mark] for mark in draft.marks if mark.mark in rules.homes]
    homes += draft.homes
    if not homes:
        return MARKETS
    shared = [market for market in MARKETS if all(market in home for home in homes)]
    if not shared:
        draft.flags.append("marks of different markets stand side by side")
        shared = [market for market in MARKETS if any(market in home for home in homes)]
    return tuple(shared)


def unread_words(text: str, spans: list[Span]) -> tuple[str, ...]:
    """What is unread, neighbouring words of a line together."""
    joined: list[Span] = []
    for start, end in sorted(spans):
        between = text[joined[-1][1] : start] if joined else ""
        if joined and len(between) < _JOINED and not between.strip(" .,:'-"):
            joined[-1] = joined[-1][0], max(end, joined[-1][1])
        else:
            joined.append((start, end))
    return tuple(text[start:end] for start, end in joined)


def other_clues(priors: Priors, draft: Draft) -> dict[str, str]:
    """What the label says of origin and fibre; nothing of either where it names several things."""
    clues: dict[str, str] = {}
    countries = draft.values(ORIGIN)
    if len(countries) == 1:
        clues[ORIGIN] = priors.label.clue_word(ORIGIN, countries[0]) or countries[0]
    fibre = _fibre(priors, draft)
    if fibre:
        clues["fibre"] = fibre
    return clues


def _fibre(priors: Priors, draft: Draft) -> str:
    """The one fibre named, or the one that leads by its share, or what several are called."""
    words = [priors.label.clue_word("fibre", name) for name in draft.values("fibre")]
    shares = dict.fromkeys(words, 0.0)
    for name, share in draft.shares.items():
        word = priors.label.clue_word("fibre", name)
        shares[word] = shares.get(word, 0.0) + share
    shares.pop("", None)
    if not shares:
        return ""
    most = max(shares, key=lambda word: shares[word])
    alone = len(shares) == 1 and "" not in words
    if alone or shares[most] >= priors.medium.leading.get("fibre", math.inf):
        return most
    if sum(share > 0 for share in shares.values()) > 1:
        return priors.medium.several.get("fibre", most)
    return ""
