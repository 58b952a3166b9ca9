"""A label read from left to right into marks, by the rules of `scarfdate.tables.label`.

1. What has a form of its own (codes, addresses, signs in brackets): `scarfdate.reading.label_signs`.
2. The longest known phrases: `scarfdate.reading.label_phrases`. Each is a mark, or waits for what
   follows it: an opening ("made in") for a country, a prefix ("RN") for its number. Here.
3. What only the whole label tells, as whose fibre a percentage is: `scarfdate.reading.label_whole`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import NamedTuple

from scarfdate.reading.label_marks import Bare, Content, Digits, Draft
from scarfdate.reading.label_notices import Notices
from scarfdate.reading.label_numbers import (
    Number,
    Percentage,
    has_shares,
    number_behind,
    percentage_at,
    roman_district,
)
from scarfdate.reading.label_phrases import LabelPhrases, Phrase
from scarfdate.reading.label_signs import read_signs
from scarfdate.reading.label_whole import read_whole
from scarfdate.tables.label import ORIGIN, Entry, LabelRules
from scarfdate.words.phrases import CUT

_WAITS = 3  # tokens for which an opening waits for its country
_CITY_WORDS = 3  # of the longest names of cities
_WHOLE = 100.0  # per cent
_OF_THE_DISTRICT = ("e", "eme", "er")  # Paris 8e
_PREFIXES = {
    "number-rn": "rn", "number-wpl": "wpl", "number-ca": "ca-number", "patent-number": "patent",
    "british-patent-number": "british-patent", "design-patent-number": "design-patent", "registered-design": "registered-design",
}  # fmt: skip
_PATENTS = ("patent", "british-patent")
_PREFIXES_NOT_STATES = ("number-rn", "number-wpl")  # an American city may stand before them
_CA_DIGITS, _ZIP_DIGITS, _ZONE_DIGITS, _STATE_LETTERS = 5, 5, 2, 2
_CODE_DIGITS = (4, 5)  # of postal codes, and of years
_STATE_AND_ZIP = re.compile(r"ca[.,]?\s*\d{5}")
_CODE_BEHIND = re.compile(r"[.,]?\s?\d{5}(?!\d)")
_IN_A_CITY = re.compile(r"(?:[^\W\d_]|[.,']| (?! ))*")  # other parts of a label stand further apart
_LINE_END_OR_DIGIT = re.compile(r"[\n\d]")
_PART = "part"  # of a garment, of which the fibres are named by themselves
_SIGNS = frozenset("®©™&/%#")  # which alone say nothing
_NEGATION = "negation"
_NO_MARKS = ("label-part", "founded", _NEGATION)
_LONGEST_RN, _LONGEST_SHOWN = 6, 24  # digits


class _Opening(NamedTuple):
    """Words such as "made in": what is done there, where they start, and the number of tokens to there."""

    kind: str
    start: int
    at: int


class _City(NamedTuple):
    """A city or American state, in its country, and the number of tokens up to its end."""

    name: str
    country: str
    start: int
    at: int


class LabelReader:
    """The place in a label that is reached, and what waits there for what follows."""

    def __init__(self, rules: LabelRules, text: str) -> None:
        self.rules, self.draft = rules, Draft()
        self.printed = read_signs(rules, text, self.draft)
        self.phrases = LabelPhrases(rules.phrases, self.printed)
        self.at = 0  # number of the token
        self.opening: _Opening | None = None
        self.city: _City | None = None
        self.notices = Notices(rules, self.printed, self.draft)
        self.denied = -1  # the token behind a word such as "not"
        self.founded = False  # whether a year that comes next is that of the firm

    def read(self) -> Draft:
        """Read all tokens, then the label as a whole."""
        tokens, leave = self.printed.tokens, self.draft.unread.append
        count, shares = len(tokens), has_shares(self.printed.plain)
        while self.at < count:
            token, start, end = tokens[self.at]
            if token[0].isdecimal():
                if shares or len(token) in _CODE_DIGITS or self.notices.found or self.city:
                    self._number(token, start, end)
                else:  # a text may be full of numbers that can be nothing
                    leave((start, end))
                    self.at, self.founded = self.at + 1, False
            elif len(token) == 1 and token.isalpha() and token != "c" and self._is_alone(token):
                leave((start, end))  # too short to be a part or a misprint of anything
                self.at += 1
            elif token == CUT:
                self.draft.cut = True
                self.at += 1
            else:
                self._word(token, start, end)
        self.notices.end()
        read_whole(self.rules, self.printed, self.phrases, self.draft)
        return self.draft

    def _leave(self, start: int, end: int) -> None:
        self.draft.unread.append((start, end))

    # --- words

    def _is_alone(self, token: str) -> bool:
        """Whether no phrase begins with the token and what follows it."""
        step = self.rules.phrases.first.get(token)
        if step is None:
            return True
        tokens, behind = self.printed.tokens, self.at + 1
        if step.meaning is not None or behind == len(tokens):
            return False
        following = tokens[behind][0]
        return len(following) == 1 and following not in step.after

    def _word(self, token: str, start: int, end: int) -> None:
        if self.city and len(token) == _STATE_LETTERS and self._is_state(token):
            self.at += 1
            self._state(start, end)
            return
        notices = self.notices
        if (notices.found or token == "c") and notices.word(token, start, end, self.at):
            self.at += 1
            return
        wanted = self.opening is not None and self._waits(self.at)
        phrase = self.phrases.at(self.at, wanted=wanted, cut=self.draft.cut)
        if phrase is not None:
            self._take(phrase)
            return
        at = self.at
        self.at += 1
        if not self._is_roman_district(token, at, end) and token not in _SIGNS:
            self._leave(start, end)

    def _take(self, phrase: Phrase) -> None:
        """Go behind a phrase, and note its mark or let it wait."""
        entry = phrase.entry
        self.at += phrase.length
        self.founded = entry.mark == "founded"
        if entry.mark in _NO_MARKS:
            self.draft.parts = self.draft.parts or entry.value == _PART
            self.denied = self.at if entry.mark == _NEGATION else self.denied
            self.draft.known.append((phrase.start, phrase.end))
            return
        if entry.mark == "fibre" and self.denied == phrase.at:
            self._leave(phrase.start, phrase.end)  # "contains no wool"
            return
        if (entry.mark == "state" and not self._in_an_address(phrase)) or (
            entry.mark == "city" and self._is_of_a_name(phrase)
        ):
            self._leave(phrase.start, phrase.end)
            return
        if entry.markets:
            self.draft.homes.append(entry.markets)
            if entry.mark not in self.rules.homes:
                self.draft.wording.append(entry.markets)
        take = _TAKE.get(entry.mark)
        if take is not None:
            take(self, phrase)
        else:
            self.draft.add(entry.mark, entry.value, phrase.start, phrase.end, phrase.how)

    def _fibre(self, phrase: Phrase) -> None:
        entry, start, end = phrase.entry, phrase.start, phrase.end
        value, _, beside = entry.value.partition("/")
        self.draft.add("fibre", value, start, end, phrase.how)
        self.draft.bare.append(Bare(self.draft.marks[-1], phrase.at, self.at))
        if beside:  # "all silk" is silk, and says that there is nothing else
            self.draft.add(beside, "", start, end, phrase.how)
        self.draft.content.append(Content(value, entry.language, 0.0, start, end))

    def _care(self, phrase: Phrase) -> None:
        self.draft.add("care", phrase.entry.value, phrase.start, phrase.end, phrase.how)

    # --- countries

    def _waits(self, at: int) -> bool:
        """Whether an opening before token ``at`` waits for its country."""
        return self.opening is not None and at - self.opening.at < _WAITS

    def _open(self, phrase: Phrase) -> None:
        kind, _, mark = phrase.entry.value.partition("/")
        self.opening = _Opening(kind, phrase.start, self.at)
        if mark:  # "hand rolled in Italy"
            self.draft.add(mark, "", phrase.start, phrase.end, phrase.how)

    def _country(self, phrase: Phrase) -> None:
        kind, start = "made", phrase.start
        if self.opening is not None:
            if self._waits(self.at - 1):
                kind, start = self.opening.kind, self.opening.start
            self.opening = None
        if kind == "designed":
            self._leave(start, phrase.end)
            return
        mark = "worked-in" if kind == "worked" else ORIGIN
        self.draft.add(mark, phrase.entry.value, start, phrase.end, phrase.how)
        if start == phrase.start and not self._opens(phrase):
            self.draft.bare.append(Bare(self.draft.marks[-1], phrase.at, self.at))

    def _opens(self, phrase: Phrase) -> bool:
        """Whether a phrase with a country begins with an opening itself: "made in us zone germany"."""
        match = self.rules.phrases.longest(self.printed.tokens, phrase.at, wanted=_is_opening)
        return match is not None and match[1] < phrase.length

    def _country_if_waited_for(self, phrase: Phrase) -> None:
        if self._waits(phrase.at):
            self._country(phrase)
        else:
            self._leave(phrase.start, phrase.end)

    def _imported_fabric(self, phrase: Phrase) -> None:
        self.draft.add("imported-fabric", "", phrase.start, phrase.end, phrase.how)
        if phrase.entry.value:  # "made in usa of imported fabric"
            self._country(phrase)

    # --- cities and states

    def _city(self, phrase: Phrase) -> None:
        name = phrase.entry.value
        self.draft.known.append((phrase.start, phrase.end))
        self.city = _City(name, self.rules.clue_word("city", name), phrase.start, self.at)

    def _is_of_a_name(self, phrase: Phrase) -> bool:
        """Whether the name of a town is that of something else: "Queen's", or an American one in "Dallas Wexmoor"."""
        plain, following = self.printed.plain, self.printed.word(self.at)
        if "'" in plain[phrase.start : phrase.end]:
            return True
        if not phrase.entry.markets or phrase.length > 1 or len(following) <= _STATE_LETTERS:
            return False
        unknown = following.isalpha() and following not in self.rules.phrases.first
        return unknown and plain[phrase.end : self.printed.tokens[self.at][1]] == " "

    def _in_an_address(self, phrase: Phrase) -> bool:
        """Whether the name of a state stands behind a town, or before a code, or is short for one: "Ill."."""
        letters = self.printed.text[phrase.start : phrase.end]
        before_a_code = _CODE_BEHIND.match(self.printed.plain, phrase.end) is not None
        return before_a_code or self._behind_a_city(phrase.start) or "." in letters

    def _state_in_words(self, phrase: Phrase) -> None:
        self._state(phrase.start, phrase.end)

    def _state(self, start: int, end: int) -> None:
        letters = self.printed.text[start:end]
        if len(letters) == _STATE_LETTERS and letters.isupper():
            self.draft.add("state-two-letter", "", start, end)
        self.city = _City("", "usa", start, self.at)

    def _is_state(self, token: str) -> bool:
        """Whether these are two letters between an American city and five digits."""
        city = self.city
        if city is None or city.at != self.at or city.country != "usa":
            return False
        prefix = self.rules.phrases.first.get(token)
        if prefix and prefix.meaning and prefix.meaning.mark in _PREFIXES_NOT_STATES:
            return False
        following = self.printed.word(self.at + 1)
        return following.isdecimal() and len(following) == _ZIP_DIGITS

    def _behind_a_city(self, start: int) -> bool:
        """Whether an American city stands just before, on the same line."""
        city = self.city
        if city is None or city.country != "usa" or city.at < self.at - 2:
            return False
        end = self.printed.tokens[city.at - 1][2]  # a code that was taken out may stand behind it
        return _LINE_END_OR_DIGIT.search(self.printed.plain, end, start) is None

    def _behind_a_cut(self, at: int) -> bool:
        """Whether before a token stands what may be the end of a city's name that is cut."""
        tokens, plain = self.printed.tokens, self.printed.plain
        return any(
            token == CUT and _IN_A_CITY.fullmatch(plain, end, tokens[at][1])
            for token, _, end in tokens[max(0, at - _CITY_WORDS - 1) : at]
        )

    # --- numbers behind a prefix

    def _numbered(self, phrase: Phrase) -> None:
        mark, number = _PREFIXES[phrase.entry.mark], number_behind(self.printed, self.at)
        self.at += number.tokens
        if number.digits:
            series = self.rules.series.get(mark)
            # where numbers began anew each year before the first of a series, one of them tells no year
            told = series is None or number.value >= series.numbers[0]
            self.draft.add(mark, str(number.value) if told else "", phrase.start, number.end)
            if mark == "patent" and not phrase.entry.value:
                self.draft.anybodys.append(self.draft.marks[-1])
        elif mark in _PATENTS:  # "Pat." alone is the half of many a notice
            self._leave(phrase.start, phrase.end)
        else:
            self.draft.add(mark, "", phrase.start, phrase.end)

    def _canadian(self, phrase: Phrase) -> None:
        """CA before five digits: a Canadian number, or California behind a city."""
        number = number_behind(self.printed, self.at)
        as_a_state = _STATE_AND_ZIP.fullmatch(self.printed.plain, phrase.start, number.end)
        if len(number.digits) != _CA_DIGITS or (as_a_state and self._behind_a_cut(phrase.at)):
            self._leave(phrase.start, phrase.end)
        elif as_a_state and self._behind_a_city(phrase.start):
            self._state(phrase.start, phrase.end)
        else:
            self._series(phrase)

    def _series(self, phrase: Phrase) -> None:
        """A registration number, where one like it was ever given."""
        number = number_behind(self.printed, self.at)
        if not number.digits:
            self._leave(phrase.start, phrase.end)
            return
        self.at += number.tokens
        if self.printed.plain[number.end : number.end + 1] == "?":  # "RN 82???": not all is legible
            self._leave(phrase.start, number.end)
            return
        mark, value = _PREFIXES[phrase.entry.mark], str(number.value)
        if mark == "rn" and self._given("rn-fur", number):
            value = f"fur {value}"
        elif mark == "rn" and not self._given("rn", number, open_end=True):
            self._refuse(phrase, number, "no registration number {} was ever given in that series")
            return
        elif mark == "wpl" and not self._given("wpl", number):
            self._refuse(phrase, number, "no wool number {} was ever given")
            return
        self.draft.add(mark, value, phrase.start, number.end, phrase.how)

    def _given(self, series: str, number: Number, *, open_end: bool = False) -> bool:
        numbers = self.rules.series[series].numbers
        if open_end:  # the series goes on
            return number.value >= numbers[0] and len(number.digits) <= _LONGEST_RN
        return bool(numbers[0] <= number.value <= numbers[-1])

    def _refuse(self, phrase: Phrase, number: Number, why: str) -> None:
        printed = " ".join(self.printed.text[phrase.end : number.end].split()).strip(" #:.")
        more = "…" if len(printed) > _LONGEST_SHOWN else ""
        self.draft.flags.append(why.format(printed[:_LONGEST_SHOWN] + more))
        self._leave(phrase.start, number.end)

    # --- other numbers

    def _notice(self, phrase: Phrase) -> None:
        self.notices.sign(phrase, self.at)

    def _number(self, token: str, start: int, end: int) -> None:
        at = self.at
        self.at += 1
        percentage = percentage_at(self.printed, at)
        if percentage is not None:
            self._percentage(percentage)
            return
        founded, self.founded = self.founded, False
        if not (founded and self.notices.is_year(token)):
            if self.notices.number(token, end, at):
                return
            if self.city is not None and self._of_a_city(token, at, end):
                return
            if len(token) in _CODE_DIGITS:
                self.draft.digits.append(Digits(start, end, at))
        self._leave(start, end)

    def _percentage(self, percentage: Percentage) -> None:
        per_cent, start, end, self.at = percentage
        if per_cent > _WHOLE:
            self.draft.flags.append(f"a percentage of {per_cent:g} cannot be")
            self._leave(start, end)
        else:
            self.draft.content.append(Content("", "", per_cent, start, end))

    def _of_a_city(self, token: str, at: int, end: int) -> bool:
        """Whether a number behind a city is that of a postal zone or district, or its code."""
        city = self.city
        assert city is not None
        if city.at != at:
            return False
        if len(token) <= _ZONE_DIGITS and city.name and city.country in ("", "usa"):
            self.draft.add("postal-zone", token, city.start, end)
            self.city = city._replace(at=self.at)
        elif len(token) == _ZIP_DIGITS and city.country == "usa":
            self.draft.add("zip", token, city.start, end)
            self.city = None
        elif city.country == "france" and self.printed.word(self.at) in _OF_THE_DISTRICT:
            self.draft.add("district-paris", token, city.start, self.printed.tokens[self.at][2])
            self.at += 1
        else:
            return False
        return True

    def _is_roman_district(self, token: str, at: int, end: int) -> bool:
        """Whether a word directly behind a French city is the number of its district: "Paris VIIIe"."""
        city, number = self.city, roman_district(token)
        if city is None or not number or city.at != at or city.country != "france":
            return False
        if self.printed.word(self.at) in _OF_THE_DISTRICT:
            end, self.at = self.printed.tokens[self.at][2], self.at + 1
        self.draft.add("district-paris", number, city.start, end)
        return True


def _is_opening(entry: Entry) -> bool:
    return entry.mark == "opening"


_TAKE: Mapping[str, Callable[[LabelReader, Phrase], None]] = {
    "fibre": LabelReader._fibre,
    "care-words": LabelReader._care,
    "opening": LabelReader._open,
    "origin": LabelReader._country,
    "only-after-opening": LabelReader._country_if_waited_for,
    "imported-fabric": LabelReader._imported_fabric,
    "city": LabelReader._city,
    "state": LabelReader._state_in_words,
    "number-rn": LabelReader._series,
    "number-wpl": LabelReader._series,
    "number-ca": LabelReader._canadian,
    "patent-number": LabelReader._numbered,
    "design-patent-number": LabelReader._numbered,
    "british-patent-number": LabelReader._numbered,
    "registered-design": LabelReader._numbered,
    "copyright-sign": LabelReader._notice,
    "copyright-words": LabelReader._notice,
}
