"""What is recognised on a label by its form: codes, numbers, addresses, signs in square brackets.

Every pattern is bounded, begins where nothing of its own kind stands before it, and can match in one
way only, so that the time grows with the length of the text and no faster. One that is tried on most
labels asks for a digit before it looks back: the engine skips what is none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence, Set

from scarfdate.reading.label_dates import dates_in_words
from scarfdate.reading.label_forms import numbers_beside_words
from scarfdate.reading.label_letters import mended_letters
from scarfdate.reading.label_marks import DATE, EVENT, Draft, Mark, Printed, Span
from scarfdate.tables.label import LabelRules, Postcode
from scarfdate.words.phrases import CUT, Token, label_tokens, plain_label

# "CA 12345" is a Canadian number, too
_STATE_AND_CODE, _NOT_BEHIND_ANY_TOWN = (
    re.compile(r"(?<=[^\W\d_], )([A-Z]{2}) (\d{5})(?![\d-])"),
    ("CA",),
)
# the letters that were dialled are capitals
_EXCHANGES = (
    ("phone-exchange-london", re.compile(r"(?<![^\W_])[A-Z]{3}(?:[a-z]{2,9}) \d{4}(?!\d)")),
    (
        "phone-exchange-london",
        re.compile(r"(?<![^\W_])Tel(?:ephone)?[.:]{0,2} [A-Z][a-z]{3,11} \d{4}(?!\d)"),
    ),
    ("phone-exchange-paris", re.compile(r"(?<![^\W_])[A-ZÉ]{3}[a-zé]{1,9} \d\d-\d\d(?![\d-])")),
)
_WEB = re.compile(
    r"(?<![\w@.-])(?:https?://)?www\.[\w.-]{1,80}"
    r"|(?<![\w@.-])[\w-]{2,60}\.(?:com|net|org|co\.uk|co\.jp|example)(?![\w-])"
)
_ENDS = ("www.", ".com", ".net", ".org", ".co.", ".example")  # one of them is in every address
_MAIL = re.compile(r"(?<![\w.+-])[\w.+-]{1,60}@[\w-]{1,60}\.[\w.]{2,30}")
_HANDLE = re.compile(r"(?<![\w.+-])@[a-z_][\w.]{2,30}")
# what must stand in a text, or be found in it, for the patterns behind: most texts need no pattern
_CODES: tuple[tuple[str | re.Pattern[str], tuple[tuple[str, re.Pattern[str]], ...]], ...] = (
    (re.compile(r"\d ?- ?\d"), (
        ("zip4", re.compile(r"(?<!\d)\d{5}-\d{4}(?!\d)")),
        ("phone-toll-free", re.compile(r"(?<!\d)(?:1[ -])?\(?(?:800|(?P<value>8(?:88|77|66|55|44|33)))\)?[ -]\d{3}-\d{4}(?!\d)")),
        ("phone-exchange-name", re.compile(r"(?<![a-z])[a-z]{2}(?:[a-z]{2,10}(?: hill)?)? ?\d ?- ?\d{4}(?!\d)")),
    )),
    ("01", (
        ("phone-london-0171", re.compile(r"(?<!\d)0(?:171|181)[ )-]{1,2}\d{3}[ -]\d{4}(?!\d)")),
        ("phone-london-01", re.compile(r"(?<!\d)01-\d{3}[ -]?\d{4}(?!\d)")),
    )),
    ("07", (("phone-london-071", re.compile(r"(?<!\d)071[ )-]{1,2}\d{3}[ -]?\d{4}(?!\d)")),)),
    ("08", (("phone-london-071", re.compile(r"(?<!\d)081[ )-]{1,2}\d{3}[ -]?\d{4}(?!\d)")),)),
    ("020", (("phone-london-020", re.compile(r"(?<!\d)020[ )-]{1,2}[378]\d{3}[ -]?\d{4}(?!\d)")),)),
    ("+44", (("phone-london-020", re.compile(r"\+44 ?(?:\(0\) ?)?20[ -][378]\d{3}[ -]?\d{4}(?!\d)")),)),
    ("(1)", (
        ("phone-paris-8", re.compile(r"\(1\) ?\d\d(?:[ .-]\d\d){3}(?![ .-]?\d)")),
        ("phone-paris-7", re.compile(r"\(1\) ?\d{3}(?:[ .-]\d\d){2}(?![ .-]?\d)")),
    )),
    (re.compile(r"0[1-5][ .-]\d\d[ .-]"), (
        ("phone-france-10", re.compile(r"(?<!\d)(?<!\d[ .-])0[1-5](?:[ .-]\d\d){4}(?![ .-]?\d)")),
    )),
    ("+33", (("phone-france-10", re.compile(r"\+33 ?\(0\) ?[1-5](?:[ .-]\d\d){4}(?![ .-]?\d)")),)),
    ("03", (("phone-tokyo", re.compile(r"(?<!\d)\(?03[ )-]{1,2}[3-6]\d{3}-\d{4}(?!\d)")),)),
    (re.compile(r"\d/"), (
        ("price-shillings", re.compile(r"(?<![\d/])\d{1,3}/-(?!\d)")),
        ("price-shillings", re.compile(r"(?<![\d/.,])\d{1,3}/(?:(?:6|9|11)|\d{1,2}d)(?![\w/%])")),
    )),
    (re.compile(r"\dd"), (
        ("price-shillings", re.compile(r"(?<![\w/])(?:6|9|10|11)d(?!\w)")),
        ("price-shillings", re.compile(r"\d(?<!\d\d)\d?s\.? ?\d{1,2}d(?!\w)")),
    )),
    ("np", (("price-new-pence", re.compile(r"(?<!\d)\d{1,3} ?np(?![a-z])")),)),
    ("new pence", (("price-new-pence", re.compile(r"(?<!\d)\d{1,3} ?new pence(?![a-z])")),)),
    ("£", (("price-new-pence", re.compile(r"£ ?\d{1,4}\.\d\d(?!\d)")),)),
)  # fmt: skip
# behind these a number is that of an article or a register: "Art. 12/6"
ARTICLE = re.compile(
    r"(?<![a-z])(?:art|style|size|no|nr|ref|lot|model[eol]?|item|cat|col|reg|rea|ditte)[. :#]*\Z"
)
_OTHER_NUMBER = re.compile(r"(?<![a-z])(?:tel|fax|eori)[. :#]*(?:[a-z]{2} ?)?\Z")
_NOT_BEHIND = {
    "price-shillings": ARTICLE,
    "postcode-germany-1990": ARTICLE,
    "ean": _OTHER_NUMBER,
    "upc": _OTHER_NUMBER,
}
_WORD = re.compile(r"[^\W\d_]")
_NAMES_A_BAR_CODE = re.compile(r"(?<![a-z])(?:ean|upc|gtin|barcode)[ -]?\d{0,2}[. :#]*\Z")
_BEFORE = re.compile(r"[a-z] ?- ?\d")  # a hyphen between a letter and a digit
_EURO = re.compile(
    r"€\s?\d{1,5}(?:[.,](?:\d{2}|-{1,2}))?(?!\d)"
    r"|(?<!\d)(?<!\d[.,])\d{1,5}(?:[.,](?:\d{2}|-{1,2}))?\s?€(?! ?\d)"
)  # before or behind
_DIGIT = re.compile(r"\d")
_BESIDE = re.compile(r"\d(?<=[a-z]\d)")  # a letter and a digit side by side
_POSTCODES = (
    ("postcode-canada", re.compile(r"(?<![a-z\d])[a-z]\d[a-z] ?\d[a-z]\d(?![a-z\d])")),
    ("postcode-uk", re.compile(r"(?<![a-z\d])[a-z]{1,2}\d[a-z\d]? ?\d[a-z]{2}(?![a-z\d])")),
)
_LONDON = re.compile(
    r"(?<![a-z])london,? (?:[nsew]|[nsew]\.? ?[wec])\.? ?\d{1,2}[a-z]?(?![a-z\d]| \d[a-z]{2}(?![a-z\d]))"
)
_PREFIXED_VAT = re.compile(r"(?<![a-z\d])it ?\d{11}(?!\d)")
_BAR = re.compile(r"\d(?<!\d\d)(?<!\d \d)(?: ?\d){11,12}(?! ?\d)")
_ABROAD = re.compile(r"(?<![a-z\d])([a-z]{1,3}) ?- ?(\d{4,5})(?!\d)")
_PARTED = re.compile(r"[wo](?<![a-z\d].)-\d{4}(?= [a-z]{3})")  # before a town
_JAPAN = re.compile(r"〒 ?\d{3}(?:-\d{2,4})?(?!\d)")
_JAPAN_LONG = 4  # digits behind the hyphen, since there are seven in all
# what stands in square brackets for a printed sign, or what Unicode has of the shapes of care signs
_BRACKET = re.compile(r"\[[^\[\]\n]{1,80}\]|[△▲□▢○◯⊗⊠]")
_CARE = frozenset({"care", "letter-circle", "tub", "square"})
_HOTTER = re.compile(r"\d{3}|9[6-9]")  # than a wash can be, 95 degrees
_ILLEGIBLE = frozenset({"cut", "unreadable"})
_YEAR_DIGITS, _STATE_LETTERS, BEFORE_A_CODE, _BEFORE_A_TOWN = 4, 2, 12, 40  # characters
_PHRASE_WORDS = 3  # of the longest names of American states and towns, and words before a year
_WITH_A_YEAR = ("copyright-sign", "copyright-words", "founded")  # which take the year themselves
_UNCLOSED = "a square bracket is open to the end: what is in it is read as words of the label"
_MISREAD = "the check digit of the bar code does not fit: a digit is misread"


def read_signs(rules: LabelRules, text: str, draft: Draft) -> Printed:
    """The text with its tokens outside of signs; the marks of the signs go into the draft."""
    plain, spans = _brackets(rules, plain_label(text), draft)
    plain, mended = mended_letters(rules.phrases.spelling.words, plain)
    for sign in _codes(text, plain, rules):
        if sign.mark == "zip4" and not _american(rules, text, plain, sign.start):
            continue
        if sign.mark == "zip" and _of_a_place(rules, plain, sign.start):
            continue  # the reader takes it with its town
        # of an event such words may stand before its year: "Festival Mills, est. 1951"
        of_a_year = [sign.start, sign.end - _YEAR_DIGITS] if sign.mark in (DATE, EVENT) else []
        if any(
            _of_a_notice_or_firm(rules, plain, at)
            or ARTICLE.search(plain, max(0, at - BEFORE_A_CODE), at)
            for at in of_a_year
        ):
            continue
        before = plain[max(0, sign.start - BEFORE_A_CODE) : sign.start]
        if sign.mark in _NOT_BEHIND and _NOT_BEHIND[sign.mark].search(before):
            continue
        if sign.mark in ("ean", "upc") and not checks(sign.value):
            if _WORD.search(before.rpartition("\n")[2]) and not _NAMES_A_BAR_CODE.search(before):
                continue
            draft.flags.append(_MISREAD)
        if sign.mark == "zip4":
            _state_before(text, sign.start, draft)
        elif sign.mark == "zip":
            draft.add("state-two-letter", "", sign.start, sign.start + _STATE_LETTERS)
        draft.marks.append(sign)
        spans.append((sign.start, sign.end))
    return Printed(text, plain, _outside(label_tokens(plain), spans), mended)


def _brackets(rules: LabelRules, plain: str, draft: Draft) -> tuple[str, list[Span]]:
    """Read the signs in brackets; the plain text with blanks for them, and where they stand."""
    if "[" not in plain and plain.isascii():
        return plain, []
    spans, pieces, last = [], [], 0
    for match in _BRACKET.finditer(plain):
        start, end = match.span()
        inside = match[0].strip("[] ") if end > start + 1 else match[0]
        kinds = rules.signs_among(inside)
        if not kinds or (kinds & _CARE and _HOTTER.search(inside)):
            draft.unread.append((start, end))
        elif kinds & _ILLEGIBLE:
            draft.cut = True
        else:
            _sign(kinds, inside.split(), start, end, draft)
        # a cut is a token of the text, so that the words beside it are known to be parts
        blank = (CUT if "cut" in kinds else " ") + " " * (end - start - 1)
        pieces += [plain[last:start], blank]
        last = end
        spans.append((start, end))
    if plain.rfind("[") > plain.rfind("]"):
        draft.flags.append(_UNCLOSED)
    return "".join([*pieces, plain[last:]]), spans


def _sign(kinds: Set[str], words: Sequence[str], start: int, end: int, draft: Draft) -> None:
    for kind in sorted(kinds - _CARE):
        mark, _, value = kind.partition("/")
        draft.add(mark, value, start, end)
    if kinds & _CARE:
        draft.symbols.append(Mark("care-symbols", "symbols", start, end))
    for kind, value, shown in (
        ("letter-circle", "wet-clean", "w" in words),
        ("letter-circle", "dry-clean-a", "a" in words),
        ("tub", "tub-number", any(len(word) == 1 and word.isdecimal() for word in words)),
        ("square", "natural-drying", any(word.startswith(("bar", "line")) for word in words)),
    ):
        if shown and kind in kinds:
            draft.add("care-symbols", value, start, end)


def _american(rules: LabelRules, text: str, plain: str, start: int) -> bool:
    """Whether an American state or town stands just before a place of the text."""
    first, tokens = _before(plain, start)
    if not tokens:
        return False
    token, begin, end = tokens[-1]
    if token in rules.states and text[first + begin : first + end].isupper():
        return True
    return any(
        mark == "state" or (mark == "city" and rules.clue_word(mark, value) == "usa")
        for each in (tokens, tokens[:-1])[: 1 + (token in rules.states)]
        for mark, value in _phrases_at_end(rules, each)
    )


def _of_a_notice_or_firm(rules: LabelRules, plain: str, start: int) -> bool:
    """Whether words of a notice or of a founding stand just before a date: "© May 1953", "Est. May 1890"."""
    return any(mark in _WITH_A_YEAR for mark, _ in _phrases_at_end(rules, _before(plain, start)[1]))


def _of_a_place(rules: LabelRules, plain: str, start: int) -> bool:
    """Whether a town or state that is known stands just before a place of the text."""
    return any(m in ("city", "state") for m, _ in _phrases_at_end(rules, _before(plain, start)[1]))


def _before(plain: str, start: int) -> tuple[int, list[Token]]:
    """The last tokens before a place of the text, and where the text begins in which they stand."""
    first = max(0, start - _BEFORE_A_TOWN)
    return first, label_tokens(plain[first:start])[first > 0 :]


def _phrases_at_end(rules: LabelRules, tokens: Sequence[Token]) -> Iterator[tuple[str, str]]:
    """Marks and values of the phrases that end with the last token."""
    for at in range(max(0, len(tokens) - _PHRASE_WORDS), len(tokens)):
        match = rules.phrases.longest(tokens, at)
        if match is not None and at + match[1] == len(tokens):
            yield match[0].mark, match[0].value


def _state_before(text: str, start: int, draft: Draft) -> None:
    """Two capitals before a code are an American state."""
    before = text[max(0, start - BEFORE_A_CODE) : start].rstrip(" ,\n")
    state, end = before[-_STATE_LETTERS:], max(0, start - BEFORE_A_CODE) + len(before)
    alone = not before[:-_STATE_LETTERS][-1:].isalpha()
    if len(state) == _STATE_LETTERS and state.isalpha() and state.isupper() and alone:
        draft.add("state-two-letter", "", end - _STATE_LETTERS, end)


def _outside(tokens: list[Token], spans: list[Span]) -> list[Token]:
    """The tokens that begin in none of the spans, and every cut."""
    if not spans:
        return tokens
    spans.sort()
    kept: list[Token] = []
    place = 0
    for token in tokens:
        while place < len(spans) and spans[place][1] <= token[1]:
            place += 1
        inside = place < len(spans) and spans[place][0] <= token[1]
        if not inside or token[0] == CUT:
            kept.append(token)
    return kept


def _codes(text: str, plain: str, rules: LabelRules) -> list[Mark]:
    """All codes and addresses that do not overlap, in order; the earlier pattern goes before."""
    found: list[Mark] = []
    if "." in plain and any(end in plain for end in _ENDS):
        found += (Mark("web-address", "", *m.span()) for m in _WEB.finditer(plain))
    if "@" in plain:
        found += (Mark("email", "", *m.span()) for m in _MAIL.finditer(plain))
        found += (Mark("social-handle", "", *m.span()) for m in _HANDLE.finditer(plain))
    if _DIGIT.search(plain):
        found += numbers_beside_words(rules.forms, plain)
        found += _by_digits(plain, rules.postcodes)
        found += _by_capitals(text, plain, rules.states)
        found += dates_in_words(rules.months, rules.printed, plain.replace("\n", " "))
    if len(found) < 2:
        return found
    found.sort(key=lambda sign: (sign.start, -sign.end))
    kept = found[:1]
    for sign in found[1:]:
        if sign.start >= kept[-1].end:
            kept.append(sign)
    return kept


def _by_digits(printed: str, postcodes: Sequence[Postcode]) -> Iterator[Mark]:
    plain = printed.replace("\n", " ")  # a code may be broken over two lines, a bar code is not
    for needs, group in _CODES:
        if needs in plain if isinstance(needs, str) else needs.search(plain):
            for mark, pattern in group:
                for m in pattern.finditer(plain):
                    yield Mark(mark, m.groupdict().get("value") or "", *m.span())
    if _BESIDE.search(plain):
        for mark, pattern in _POSTCODES:
            for m in pattern.finditer(plain):
                yield Mark(mark, "", *m.span())
    if "it" in plain:
        for m in _PREFIXED_VAT.finditer(plain):
            yield Mark("vat-number", "prefixed", *m.span())
    if "london" in plain:
        for m in _LONDON.finditer(plain):
            yield Mark("district-london", "", *m.span())
    for m in _EURO.finditer(printed) if "€" in printed else ():
        yield Mark("price-euro", "", *m.span())
    for m in _BAR.finditer(printed):
        digits = m.group().replace(" ", "")
        yield Mark("ean" if len(digits) == 13 else "upc", digits, *m.span())
    abroad = "-" in plain and _BEFORE.search(plain) is not None
    for m in _PARTED.finditer(plain) if abroad else ():
        yield Mark("postcode-germany-1990", "", *m.span())
    for m in _ABROAD.finditer(plain) if abroad else ():
        for code in postcodes:
            if (code.prefix, code.digits) == (m[1], len(m[2])):
                yield Mark(code.mark, "", *m.span())
    for m in _JAPAN.finditer(plain) if "〒" in plain else ():
        long = m.group().count("-") and len(m.group().rpartition("-")[2]) == _JAPAN_LONG
        yield Mark("postcode-japan", "seven-digits" if long else "three-digits", *m.span())


def _by_capitals(text: str, plain: str, states: Set[str]) -> Iterator[Mark]:
    """What capitals alone tell: a state before its code behind any town; a telephone exchange by name."""
    for m in _STATE_AND_CODE.finditer(text):
        if m[1].lower() in states and m[1] not in _NOT_BEHIND_ANY_TOWN:
            yield Mark("zip", m[2], *m.span())
    for mark, pattern in _EXCHANGES:
        for m in pattern.finditer(text):
            yield Mark(mark, "", *m.span())


def checks(digits: str) -> bool:
    """The check digit of a 12- or 13-digit article number (GS1 General Specifications, 7.9)."""
    total = sum(
        int(digit) * (3 if place % 2 else 1) for place, digit in enumerate(reversed(digits))
    )
    return total % 10 == 0
