"""One label text read from left to right into marks, by the rules of `scarfdate.tables.label`.

1. What has a form of its own (codes, addresses, signs in brackets) is taken out first.
2. The longest known phrases give marks; openings ("made in"), prefixes ("RN") and percentages wait
   for what follows them.
3. A word that no rule knows may be cut, guessed or misprinted: it is read where one reading alone fits,
   and the mark says how; else it stays unread.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from scarfdate.reading.label_signs import Sign, brackets, checks, signs
from scarfdate.tables.label import AFTER_OPENING, Entry, LabelRules, Step, label_tokens, plain_label

AS_PRINTED, ONE_OFF, GUESSED, CUT = "as printed", "one letter off", "letters guessed", "cut off"
_NO_MARKS = ("label-part", "city", "state", "founded", AFTER_OPENING)
_SHORTEST_END = 2  # letters left of a word that is cut on the left
_LONGEST_WORD = 24  # letters of a word that may be misprinted
_SHORTEST_MISPRINT = 5  # letters: of shorter words too many others are one letter off
_SHORTEST_GUESS = 3  # letters that must be seen of a guessed or cut word
_FEW = 40  # candidates looked at for one word
_NEAR = 8  # tokens within which a year belongs to a copyright sign
_BESIDE = 3  # characters between a code and its town
_OPEN = 3  # tokens within which an opening waits for its country
_WHOLE = 100.0  # per cent
_SLACK = 1.0  # per cent
_PER_CENT = frozenset({"%", "percent", "pct", "prozent", "pourcent", "procent"})
_NUMBERED = {"number-rn": "rn", "number-wpl": "wpl", "number-ca": "ca-number",
             "patent-number": "patent", "design-patent-number": "design-patent",
             "registered-design": "registered-design"}  # fmt: skip
_NO_STATE = ("number-rn", "number-wpl")
_CA_DIGITS, _YEAR_DIGITS, _CODE_DIGITS, _STATE_LETTERS = 5, 4, 5, 2
_BY_FIRM = {"srl": "italy", "spa": "italy", "sarl": "france", "sas": "france", "sa": "france",
            "gmbh": "germany", "kg": "germany", "ohg": "germany"}  # fmt: skip
_BY_LANGUAGE = {"it": "italy", "fr": "france", "de": "germany"}
_IN_DIGITS = frozenset({"rn", "wpl", "ca-number", "patent", "design-patent", "registered-design",
                        "postal-zone", "zip", "zip4", "upc", "ean", "copyright-year"})  # fmt: skip
_WITH_A_NUMBER = ("copyright-no-year", "registered-design", "design-patent")
_CODES_IN_DIGITS = ("postcode-", "phone-", "price-")
_LETTER = re.compile(r"[^\W\d]")  # what parts a number from a cut
_LINE = 120  # characters: no line of a label is longer
_CODE_OF = {("italy", 5): "postcode-italy", ("france", 5): "postcode-france",
            ("germany", 5): "postcode-germany-5", ("germany", 4): "postcode-germany-4",
            ("switzerland", 4): "postcode-switzerland", ("usa", 5): "zip"}  # fmt: skip

Token = tuple[str, int, int]


class Mark(NamedTuple):
    """A mark of a label: ``text[start:end]``, and how it was read (as printed, cut off, ...)."""

    mark: str
    value: str
    start: int
    end: int
    how: str = AS_PRINTED


class _Phrase(NamedTuple):
    """A phrase found: its entry, its number of tokens, its end in the text, and how it was read."""

    entry: Entry
    number: int
    last: int
    how: str


class LabelReader:
    """The state while one label is read: to be used once."""

    def __init__(self, rules: LabelRules, text: str) -> None:
        self.rules, self.text, self.plain = rules, text, plain_label(text)
        self.marks: list[Mark] = []
        self.unread: list[tuple[int, int]] = []
        self.flags: list[str] = []
        self.cut = False
        self.languages: dict[str, set[str]] = {}  # fibre -> languages it is named in
        self.homes: list[tuple[str, ...]] = []
        self._tokens: list[Token] = []
        self._at = 0
        self._cuts = False  # whether anything is cut
        self._opening: tuple[str, int, int] | None = None  # kind, start, token number
        self._copyright: tuple[int, int, int] | None = None  # start, end, token number
        self._percents: dict[str, float] = {}
        self._named: list[
            tuple[str, float, int, int]
        ] = []  # fibres, and "" with a percentage, in order
        self._founded = False  # whether a year at hand is that of the firm
        self._codes: list[tuple[int, int, int]] = []  # digits that may be a postal code
        self._city: tuple[str, int, int] | None = None  # value, start, token number behind it
        self._place = ""  # the country of the last city
        self._worked: list[Mark] = []
        self._symbols: list[Mark] = []
        self._worded = False  # whether care is said in words

    def read(self) -> None:
        """Read the whole text."""
        spans = [*self._brackets(), *self._signs()]
        self._tokens = _outside(label_tokens(self.plain), spans)
        tokens = self._tokens
        self._cuts = "…" in self.plain or ".." in self.plain
        while self._at < len(tokens):
            token, start, end = tokens[self._at]
            if token[0].isdecimal():
                self._digits(token, start, end)
            elif token == "…":
                self.cut = True
                self._at += 1
            else:
                self._word(token, start, end)
        self._finish()

    # --- signs

    def _brackets(self) -> list[tuple[int, int]]:
        spans, pieces, last = [], [], 0
        for start, end, inside in brackets(self.plain):
            padded = f" {inside} "
            kinds = {kind for sign, kind in self.rules.signs_in_words if sign in padded}
            if not kinds:
                self.unread.append((start, end))
            elif "cut" in kinds or "unreadable" in kinds:
                self.cut = True
            else:
                self._symbol(kinds, inside, start, end)
            # a cut is a token of the text, so that the words beside it are known to be parts
            blank = ("…" if "cut" in kinds else " ") + " " * (end - start - 1)
            pieces += [self.plain[last:start], blank]
            last = end
            spans.append((start, end))
        if spans:
            self.plain = "".join([*pieces, self.plain[last:]])
        return spans

    def _symbol(self, kinds: set[str], inside: str, start: int, end: int) -> None:
        words = inside.split()
        others = kinds - {"care", "letter-circle", "tub", "square"}
        for kind in sorted(others):
            mark, _, value = kind.partition("/")
            self._add(Mark(mark, value, start, end))
        if kinds & {"care", "letter-circle", "tub", "square"}:
            self._symbols.append(Mark("care-symbols", "symbols", start, end))
        if "letter-circle" in kinds and "w" in words:
            self._add(Mark("care-symbols", "wet-clean", start, end))
        if "letter-circle" in kinds and "a" in words:
            self._add(Mark("care-symbols", "dry-clean-a", start, end))
        if "tub" in kinds and any(len(word) == 1 and word.isdecimal() for word in words):
            self._add(Mark("care-symbols", "tub-number", start, end))
        if "square" in kinds and any(word.startswith(("bar", "line")) for word in words):
            self._add(Mark("care-symbols", "natural-drying", start, end))

    def _signs(self) -> Iterable[tuple[int, int]]:
        found: Sequence[Sign] = signs(self.plain)
        for sign in found:
            if sign.mark in ("ean", "upc") and not checks(sign.value):
                self.flags.append(
                    "the check digit of the bar code does not fit: a digit is misread"
                )
            if sign.mark == "zip4":
                self._state_before(sign.start)
            self._add(Mark(sign.mark, sign.value, sign.start, sign.end))
            yield sign.start, sign.end

    def _state_before(self, start: int) -> None:
        before = self.text[max(0, start - _NEAR) : start].rstrip(" ,\n")
        two, end = before[-_STATE_LETTERS:], max(0, start - _NEAR) + len(before)
        alone = not before[:-_STATE_LETTERS][-1:].isalpha()
        if len(two) == _STATE_LETTERS and two.isalpha() and two.isupper() and alone:
            self._add(Mark("state-two-letter", "", end - _STATE_LETTERS, end))

    # --- words

    def _word(self, token: str, start: int, end: int) -> None:
        if len(token) == _STATE_LETTERS and self._is_state():
            self._at += 1
            self._state(start, end)
            return
        found = self._longest(self.rules.first, self._at)
        if found is not None and found.entry.mark == "fibre" and self._is_open(self._at):
            # "product of China / silk twill": behind an opening the country goes first
            found = self._longest(self.rules.first, self._at, only="origin") or found
        if (
            self._cuts
            and self._behind_a_cut
            and (found is None or found.entry.mark == "label-part")
        ):
            found = self._broken(token) or found  # "...de in Jap" is no French
        if found is None and token not in _PER_CENT:
            found = self._broken(token)
        if found is not None:
            self._take(found, start)
            return
        if token[0].isalpha() or "?" in token:
            self._leave(start, end)
        self._at += 1

    @property
    def _behind_a_cut(self) -> bool:
        return self._at > 0 and self._tokens[self._at - 1][0] == "…"

    def _longest(self, first: Mapping[str, Step], at: int, only: str = "") -> _Phrase | None:
        """The longest phrase (of one mark ``only``) from token ``at`` on.

        A later word of it may be one letter off.
        """
        tokens, after = self._tokens, first
        found, how = None, AS_PRINTED
        for place in range(at, len(tokens)):
            token = tokens[place][0]
            step = after.get(token)
            if step is None and place > at and len(token) >= _SHORTEST_MISPRINT:
                step = self._nearly(token, after)
                how = ONE_OFF
            if step is None:
                break
            if step.entry is not None and only in ("", step.entry.mark):
                found = _Phrase(step.entry, place - at + 1, tokens[place][2], how)
            after = step.after
            if not after:
                break
        return found

    def _nearly(self, token: str, after: Mapping[str, Step]) -> Step | None:
        """The one step that a misprinted word can mean; a word that is known is no misprint."""
        if len(token) > _LONGEST_WORD or token in self.rules.known_words:
            return None
        near = [
            word for word in after if len(word) >= _SHORTEST_MISPRINT and _at_most_one(token, word)
        ]
        return after[near[0]] if len(near) == 1 else None

    def _broken(self, token: str) -> _Phrase | None:
        """A word that is cut, guessed or misprinted, where one reading alone fits."""
        at, tokens, rules = self._at, self._tokens, self.rules
        if "?" in token:
            return self._only(_fitting(token, rules), GUESSED)
        if len(token) > _LONGEST_WORD:
            return None
        before = at + 1 < len(tokens) and tokens[at + 1][0] == "…"
        # "...DE IN JAP": a country is asked for, and the text ends
        at_end = self.cut and at + 1 == len(tokens) and self._is_open(at)
        if self._behind_a_cut and len(token) >= _SHORTEST_END:
            # the end of a word alone is the end of many a name
            alone = len(token) > _SHORTEST_MISPRINT
            found = self._only(rules.by_end.get(token, ()), CUT, least=not alone)
            if found is not None:
                return found
        # without an opening before it, the beginning of a word may be a maker's
        enough = _SHORTEST_GUESS if self._is_open(at) else _SHORTEST_MISPRINT
        if (before or at_end) and len(token) >= enough:
            found = self._only(rules.by_beginning.get(token, ()), CUT)
            if found is not None:
                return found
        if len(token) >= _SHORTEST_MISPRINT and not self._behind_a_cut:
            return self._only(_one_off(token, rules), ONE_OFF)
        return None

    def _only(self, words: Sequence[str], how: str, *, least: bool = False) -> _Phrase | None:
        """What the candidates of the token at hand come to with what follows, if that is one thing.

        ``least``: a phrase of two tokens or more is asked for.
        """
        if len(words) > _FEW:
            return None
        found: dict[tuple[str, str], _Phrase] = {}
        most = 0
        for word in words:
            phrase = self._rest(word)
            if phrase is None or phrase.entry.mark in _NO_MARKS or (least and phrase.number < 2):
                continue
            if phrase.number > most:
                found, most = {}, phrase.number  # what explains more of the text goes before
            if phrase.number == most:
                found[phrase.entry.mark, phrase.entry.value] = phrase
        return next(iter(found.values()))._replace(how=how) if len(found) == 1 else None

    def _rest(self, word: str) -> _Phrase | None:
        """The longest phrase that begins with ``word`` in the place of the token at hand."""
        first = self.rules.first.get(word)
        if first is None:
            return None
        longer = self._longest(first.after, self._at + 1)
        if longer is not None:
            return longer._replace(number=longer.number + 1)
        end = self._tokens[self._at][2]
        return None if first.entry is None else _Phrase(first.entry, 1, end, AS_PRINTED)

    # --- what an entry does

    def _take(self, phrase: _Phrase, start: int) -> None:
        entry, number, end, how = phrase
        mark, at = entry.mark, self._at
        self._at += number
        self._founded = mark == "founded"
        if mark == "label-part":
            return
        if entry.markets:
            self.homes.append(entry.markets)
        if mark == "fibre":
            self._fibre(entry, start, end, how)
        elif mark == "origin":
            self._origin(entry.value, start, end, how)
        elif mark == AFTER_OPENING:
            if self._is_open(at):
                self._origin(entry.value, start, end, how)
            else:
                self._leave(start, end)
        elif mark == "opening":
            kind, _, also = entry.value.partition("/")
            self._opening = (kind, start, self._at)
            if also:  # "hand rolled in Italy"
                self._add(Mark(also, "", start, end, how))
        elif mark in ("number-rn", "number-wpl", "number-ca"):
            self._series(mark, start, end, how)
        elif mark in _NUMBERED:
            self._numbered(mark, start, end)
        elif mark in ("copyright-sign", "copyright-words"):
            if self._copyright is None:
                self._copyright = (start, end, self._at)
                self._year_before(at, start, end)
        elif mark == "city":
            self._city = (entry.value, start, self._at)
            self._place = self._country_of(entry.value)
        elif mark == "state":
            self._state(start, end)
        elif mark == "care-words":
            self._worded = True
            self._add(Mark("care", entry.value, start, end, how))
        elif mark == "imported-fabric" and entry.value:  # "made in usa of imported fabric"
            self._add(Mark(mark, "", start, end, how))
            self._origin(entry.value, start, end, how)
        elif not self._founded:
            self._add(Mark(mark, entry.value, start, end, how))

    def _is_open(self, at: int) -> bool:
        return self._opening is not None and at - self._opening[2] < _OPEN

    def _origin(self, value: str, start: int, end: int, how: str) -> None:
        kind = "made"
        if self._opening is not None:
            if self._is_open(self._at - 1):
                kind, start = self._opening[0], self._opening[1]
            self._opening = None
        if kind == "designed":
            self._leave(start, end)
        elif kind == "worked":
            self._worked.append(Mark("origin", value, start, end, how))
        else:
            self._add(Mark("origin", value, start, end, how))

    def _fibre(self, entry: Entry, start: int, end: int, how: str) -> None:
        self._add(Mark("fibre", entry.value, start, end, how))
        self.languages.setdefault(entry.value, set()).add(entry.language)
        self._named.append((entry.value, 0.0, start, end))

    def _series(self, mark: str, start: int, end: int, how: str) -> None:
        digits, stop, count = self._next_digits()
        name = _NUMBERED[mark]
        if mark == "number-ca" and (len(digits) != _CA_DIGITS or self._after_city(start)):
            if len(digits) == _CA_DIGITS and self._after_city(start):
                self._state(start, end)
            else:
                self._leave(start, end)
            return
        if not digits:
            self._leave(start, end)
            return
        self._at += count
        number = int(digits[:12])
        value = str(number)
        if name == "rn":
            low, high = self._range("rn-fur")
            if low <= number <= high:
                self._add(Mark("rn", f"fur {number}", start, stop, how))
                return
            low, high = self._range("rn")
            if number < low or len(digits) > 6:
                self.flags.append(
                    f"no registration number {digits[:12]} was ever given in that series"
                )
                self._leave(start, stop)
                return
        if name == "wpl" and not self._range("wpl")[0] <= number <= self._range("wpl")[1]:
            self.flags.append(f"no wool number {digits[:12]} was ever given")
            self._leave(start, stop)
            return
        self._add(Mark(name, value, start, stop, how))

    def _range(self, series: str) -> tuple[float, float]:
        numbers = self.rules.series[series].numbers
        return float(numbers[0]), float(numbers[-1])

    def _numbered(self, mark: str, start: int, end: int) -> None:
        digits, stop, count = self._next_digits()
        if digits:
            self._at += count
            end = stop
        name = _NUMBERED[mark]
        if digits or name != "patent":  # "Pat." alone is the half of many a notice
            self._add(Mark(name, str(int(digits[:12])) if digits else "", start, end))
        else:
            self._leave(start, end)

    def _next_digits(self) -> tuple[str, int, int]:
        """Digits at hand, groups of thousands joined: (digits, end, number of tokens)."""
        digits, stop, count = "", 0, 0
        tokens = self._tokens
        for token, start, end in tokens[self._at : self._at + 4]:
            if token in ("#", "no") and not digits:
                count += 1
                continue
            if not token.isdecimal() or not token.isascii():
                break
            if digits and not (len(token) == 3 and self.plain[stop:start] in (",", ".")):
                break
            digits, stop = digits + token, end
            count += 1
        return digits, stop, count if digits else 0

    def _after_city(self, start: int) -> bool:
        """Whether an American city stands just before, on the same line."""
        if self._city is None or self._place != "usa" or self._city[2] < self._at - 2:
            return False
        return "\n" not in self.plain[self._city[1] : start]

    def _is_state(self) -> bool:
        """Two capitals between an American city and five digits."""
        at = self._at
        if self._city is None or self._city[2] != at or self._place != "usa":
            return False
        step = self.rules.first.get(self._tokens[at][0])
        if step is not None and step.entry is not None and step.entry.mark in _NO_STATE:
            return False
        following = self._tokens[at + 1][0] if at + 1 < len(self._tokens) else ""
        return following.isdecimal() and len(following) == _CODE_DIGITS

    def _state(self, start: int, end: int) -> None:
        printed = self.text[start:end]
        if len(printed) == 2 and printed.isupper():
            self._add(Mark("state-two-letter", "", start, end))
        self._place = "usa"
        self._city = ("", start, self._at)

    def _year_before(self, at: int, start: int, end: int) -> None:
        for token, first, _ in reversed(self._tokens[max(0, at - 1) : at]):
            # a number that is used already, such as "WPL No. 1944", is no year
            if self._is_year(token) and any(code[0] == first for code in self._codes[-1:]):
                self._codes = [code for code in self._codes if code[0] != first]
                self.unread = [span for span in self.unread if span[0] != first]
                self._add(Mark("copyright-year", token, first, end))
                self._copyright = (-1, -1, -1)

    def _is_year(self, token: str) -> bool:
        low, high = self.rules.printed
        digits = len(token) == _YEAR_DIGITS and token.isdecimal() and token.isascii()
        return digits and low <= float(token) <= high

    # --- digits

    def _digits(self, token: str, start: int, end: int) -> None:
        at, tokens = self._at, self._tokens
        self._at += 1
        following = tokens[at + 1][0] if at + 1 < len(tokens) else ""
        value = float(token[:9]) if token.isascii() else 0.0
        if following == "%" and tokens[at + 1][1] > end and self._digit_at(tokens[at + 1][2]):
            following = ""  # "10016, %100 silk": the sign belongs to the number behind it
        if following.isdecimal() and self.plain[end : tokens[at + 1][1]] in (",", "."):
            after = tokens[at + 2][0] if at + 2 < len(tokens) else ""
            if after in _PER_CENT:  # 53,5 %
                value += float(f"0.{following[:6]}")
                self._at, end, following = at + 2, tokens[at + 1][2], after
        leading = (
            at > 0 and tokens[at - 1][0] == "%" and self.plain[tokens[at - 1][2] : start] == ""
        )
        word = following in ("per", "por", "pour") and at + 2 < len(tokens)
        if following in _PER_CENT or (word and tokens[at + 2][0] in ("cent", "ciento")) or leading:
            if following in _PER_CENT:
                end = tokens[self._at][2]
                self._at += 1
            elif word:
                end = tokens[at + 2][2]
                self._at = at + 3
            self._share(value, start, end)
            return
        founded, self._founded = self._founded, False
        if founded and self._is_year(token):
            self._leave(start, end)
            return
        noticed = self._copyright is not None and self._copyright[0] >= 0
        if self._copyright is not None and noticed and self._is_year(token):
            near = at - self._copyright[2] < _NEAR
            if near:
                self._add(Mark("copyright-year", token, self._copyright[0], end))
                self._copyright = (-1, -1, -1)
                return
        if self._city is not None and at == self._city[2]:
            if len(token) <= 2 and self._city[0] and self._place in ("", "usa"):
                self._add(Mark("postal-zone", token, self._city[1], end))
                self._city = (self._city[0], self._city[1], self._at)
                return
            if len(token) == 5 and self._place == "usa":
                self._add(Mark("zip", token, self._city[1], end))
                self._city = None
                return
            if self._place == "france" and following in ("e", "eme", "er"):
                self._add(Mark("district-paris", token, self._city[1], tokens[at + 1][2]))
                self._at += 1
                return
        if len(token) in (4, 5):
            self._codes.append((start, end, at))
        self._leave(start, end)

    def _digit_at(self, place: int) -> bool:
        return self.plain[place : place + 1].isdecimal()

    def _share(self, value: float, start: int, end: int) -> None:
        if value > _WHOLE:
            self.flags.append(f"a percentage of {value:g} cannot be")
            self._leave(start, end)
        else:
            self._named.append(("", value, start, end))

    # --- the end

    def _leave(self, start: int, end: int) -> None:
        self.unread.append((start, end))

    def _add(self, mark: Mark) -> None:
        self.marks.append(mark)

    def _finish(self) -> None:
        if self._copyright is not None and self._copyright[0] >= 0:
            self._add(Mark("copyright-no-year", "", *self._copyright[:2]))
        self._postal()
        self._percentages()
        self._origins()
        self._care()
        self._shares()
        spoken = {language for languages in self.languages.values() for language in languages}
        twice = any("fr" in of and of & {"en", "any"} for of in self.languages.values())
        if twice:
            self._add(Mark("bilingual", "", 0, len(self.text)))
        if "ja" in spoken and self._percents:
            self._add(Mark("japanese-content", "", 0, len(self.text)))
        self._beside_cuts()
        if any(mark.how == CUT for mark in self.marks):
            self.cut = True
        self.marks = sorted(set(self.marks), key=lambda mark: (mark.start, mark.end, mark[:2]))

    def _beside_cuts(self) -> None:
        """A word beside a cut may be a part of a longer one, and says so; a number is not read at all."""
        if not self._cuts:
            return
        cuts = [(start, end) for token, start, end in self._tokens if token == "…"]
        if not cuts:
            return
        starts, ends = [start for start, _ in cuts], [end for _, end in cuts]
        kept = []
        for mark in self.marks:
            after, before = bisect_left(starts, mark.end), bisect_right(ends, mark.start) - 1
            right = starts[after] if after < len(starts) else math.inf
            left = ends[before] if before >= 0 else -math.inf
            near_right = right - mark.end <= _LINE and self._same_line(mark.end, int(right))
            near_left = mark.start - left <= _LINE and self._same_line(int(left), mark.start)
            line = near_right or near_left
            adjacent = (near_right and not _LETTER.search(self.plain, mark.end, int(right))) or (
                near_left and not _LETTER.search(self.plain, int(left), mark.start)
            )
            numbered = mark.mark in _IN_DIGITS or mark.mark.startswith(_CODES_IN_DIGITS)
            # the year or the number may be what is cut off
            lone = line and not mark.value and mark.mark in _WITH_A_NUMBER
            if lone or (adjacent and numbered):
                self._leave(mark.start, mark.end)
            elif line and mark.end - mark.start < len(self.text):
                kept.append(mark._replace(how=CUT))
            else:
                kept.append(mark)
        self.marks = kept

    def _postal(self) -> None:
        """Digits that may be a postal code: the firm form, the city beside or the language tells whose."""
        if not self._codes:
            return
        country, unread = self._country(), set(self.unread)
        for start, end, at in self._codes:
            beside = self._country_of(self._city_behind(at))
            if not beside and end - start == _CODE_DIGITS and self._before_a_name(at, end, unread):
                beside = country
            mark = _CODE_OF.get((beside, end - start))
            if mark and mark != "zip" and (start, end) in unread:
                self._add(Mark(mark, "", start, end))
                unread.discard((start, end))
        self.unread = list(unread)

    def _before_a_name(self, at: int, end: int, unread: set[tuple[int, int]]) -> bool:
        """Whether an unknown word stands behind a number on its line: a town, and no style number."""
        if at + 1 >= len(self._tokens):
            return False
        _, start, stop = self._tokens[at + 1]
        return (start, stop) in unread and "\n" not in self.plain[end:start]

    def _city_behind(self, at: int) -> str:
        if at + 1 >= len(self._tokens) or self._tokens[at + 1][1] - self._tokens[at][2] > _BESIDE:
            return ""  # something that was taken out stands between
        found = self._longest(self.rules.first, at + 1)
        return found.entry.value if found is not None and found.entry.mark == "city" else ""

    def _country_of(self, city: str) -> str:
        return self.rules.names.get(("city", city), ("", ""))[1]

    def _country(self) -> str:
        firms = [_BY_FIRM.get(mark.value, "") for mark in self.marks if mark.mark == "firm"]
        if any(firms):
            return next(filter(None, firms))
        spoken = {language for languages in self.languages.values() for language in languages}
        found = {_BY_LANGUAGE[language] for language in spoken if language in _BY_LANGUAGE}
        return found.pop() if len(found) == 1 and "en" not in spoken else ""

    def _origins(self) -> None:
        named = {mark.value for mark in self.marks if mark.mark == "origin"}
        if not named and not self.cut:
            self.marks += self._worked  # where it was hemmed or printed is all that is said
        else:
            self.marks += [mark._replace(mark="worked-in") for mark in self._worked]
        named = {mark.value for mark in self.marks if mark.mark == "origin"}
        if len(named) > 1:
            self.flags.append(f"more than one country is named: {', '.join(sorted(named))}")

    def _care(self) -> None:
        if not self._symbols:
            return
        self._add(self._symbols[0])
        # signs of another kind have rules of their own
        own = any(m.mark == "care-symbols" and m.value.startswith("japan") for m in self.marks)
        if not self._worded and not own and not self.cut:  # words may be what is cut off
            self._add(self._symbols[0]._replace(value="symbols-alone", end=self._symbols[-1].end))

    def _percentages(self) -> None:
        """Each percentage to its fibre: "60 % silk" or "silk 60 %", as the first and the last tell."""
        named = self._named
        if all(fibre for fibre, *_ in named):
            return
        behind = bool(named[0][0]) and not named[-1][0]
        following: list[tuple[str, float, int, int] | None] = []  # the next fibre of each
        after = None
        for one in reversed(named):
            following.append(after)
            after = one if one[0] else after
        before, first = None, None
        for one, after in zip(named, reversed(following), strict=True):
            fibre, value, start, end = one
            if fibre:
                before = one
                continue
            whose = self._whose(before, after, start, end, behind)
            if not whose:
                self._leave(start, end)
                self.flags.append("a percentage without a fibre was read")
                continue
            # the same share twice is one fibre named in two languages
            self._percents[whose] = max(value, self._percents.get(whose, 0.0))
            first = first or (start, end)
        if first is None:
            return
        words = {self.rules.names.get(("fibre", one[0]), ("", ""))[1] for one in named if one[0]}
        # wool has an act of its own, older than that on all other textiles
        self._add(Mark("wool-percent" if "wool" in words else "fibre-percent", "", *first))

    def _whose(
        self,
        before: tuple[str, float, int, int] | None,
        after: tuple[str, float, int, int] | None,
        start: int,
        end: int,
        behind: bool,
    ) -> str:
        """The fibre of one percentage, from those named before and after it."""
        near_before = before is not None and self._same_line(before[3], start)
        near_after = after is not None and self._same_line(end, after[2])
        if near_before != near_after:
            chosen = before if near_before else after
        else:
            chosen = before if behind else after or before
        return chosen[0] if chosen is not None else ""

    def _same_line(self, start: int, end: int) -> bool:
        return end - start <= _LINE and "\n" not in self.plain[start:end]

    def _shares(self) -> None:
        if not self._percents:
            return
        total = sum(self._percents.values())
        if abs(total - _WHOLE) > _SLACK:
            self.flags.append(f"the percentages add up to {total:g}, not to 100")

    @property
    def percents(self) -> dict[str, float]:
        """Per cent by fibre name."""
        return dict(self._percents)


def _outside(tokens: list[Token], spans: Sequence[tuple[int, int]]) -> list[Token]:
    """The tokens that begin in none of the spans."""
    if not spans:
        return tokens
    ends = sorted(spans)
    kept: list[Token] = []
    place = 0
    for token in tokens:
        while place < len(ends) and ends[place][1] <= token[1]:
            place += 1
        inside = place < len(ends) and ends[place][0] <= token[1]
        if not inside or token[0] == "…":
            kept.append(token)
    return kept


def _fitting(token: str, rules: LabelRules) -> tuple[str, ...]:
    """Words of the same length that fit a word with letters guessed."""
    seen = sum(letter != "?" for letter in token)
    if seen < _SHORTEST_GUESS or 3 * seen < 2 * len(token) or len(token) > _LONGEST_WORD:
        return ()
    # the letter that fewest words have in its place leaves the fewest to look at
    letters = [(len(token), at, letter) for at, letter in enumerate(token) if letter != "?"]
    fewest = min((rules.by_letter.get(key, ()) for key in letters), key=len)
    return tuple(
        word for word in fewest if all(a in ("?", b) for a, b in zip(token, word, strict=True))
    )


def _one_off(token: str, rules: LabelRules) -> tuple[str, ...]:
    """Words that are one letter off: another, a missing, a spare, or two letters changed about."""
    near = set(rules.by_deletion.get(token, ()))
    for at in range(len(token)):
        near.update(rules.by_deletion.get(token[:at] + token[at + 1 :], ()))
    return tuple(
        sorted(
            word for word in near if len(word) >= _SHORTEST_MISPRINT and _at_most_one(token, word)
        )
    )


def _at_most_one(a: str, b: str) -> bool:
    if abs(len(a) - len(b)) > 1:
        return False
    at = 0
    while at < min(len(a), len(b)) and a[at] == b[at]:
        at += 1
    changed = a[at + 1 :] == b[at + 1 :]
    swapped = a[at : at + 2] == b[at : at + 2][::-1] and a[at + 2 :] == b[at + 2 :]
    return changed or swapped or a[at + 1 :] == b[at:] or a[at:] == b[at + 1 :]
