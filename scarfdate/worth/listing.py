"""`Listing`: what a seller may truthfully write of a piece, in one language, with the numbers behind it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from scarfdate.show import page
from scarfdate.show.sentence import capital
from scarfdate.show.terminal import clean
from scarfdate.worth import listing_views as views
from scarfdate.worth.claims import CARE, FOR_THE_SELLER, PHOTOGRAPHS, PUBLISHED, Claim

if TYPE_CHECKING:
    import pandas

# letters that could end a script element, or begin one, in a page into which the record is put
_IN_PAGES = {ord(letter): f"\\u{ord(letter):04x}" for letter in "<>&\u2028\u2029"}


@dataclass(frozen=True, kw_only=True)
class Listing:
    """A description of one piece that is for sale.

    ``claims``: every clause with the number it stands on, in the order of the text, and after them what is for the
    seller and stands in no view that is published: what to look at again, cautions, photographs to take; ``notes``: what the
    seller is to know of what was noted, in plain English; ``left_out``: cells that could not be read, and why.
    ``language``: "en", "de", "fr" or "it".
    """

    language: str
    claims: tuple[Claim, ...]
    notes: tuple[str, ...]
    left_out: tuple[str, ...]
    _headings: Mapping[str, str]
    _record: str

    @property
    def title(self) -> str:
        """What the piece is, on one line."""
        return views.title(self.claims)

    @property
    def text(self) -> str:
        """Plain text: a title, and under each heading a clause a line."""
        return views.text(self.title, self._parts())

    @property
    def markdown(self) -> str:
        """The same in CommonMark; what a person typed is no markup in it."""
        return views.markdown(self.title, self._parts())

    @property
    def html(self) -> str:
        """The same as a piece of HTML, without script; what a person typed is escaped in it."""
        return views.html(self.title, self._parts())

    @property
    def record(self) -> dict[str, Any]:
        """A Product in the terms of schema.org, as plain values for JSON (`scarfdate.worth.product`)."""
        found: dict[str, Any] = json.loads(self._record)
        return found

    @property
    def json(self) -> str:
        """The record as JSON text that is safe inside a page, too."""
        return json.dumps(self.record, ensure_ascii=False, indent=1).translate(_IN_PAGES)

    @property
    def photographs(self) -> tuple[str, ...]:
        """What to photograph."""
        return self._of(PHOTOGRAPHS)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to beware of before anything is cleaned or mended."""
        return self._of(CARE)

    def to_frame(self) -> pandas.DataFrame:
        """One row a claim: section, kind, clause, number, basis."""
        import pandas as pd

        columns = ("section", "kind", "clause", "number", "basis")
        rows = [[getattr(claim, name) for name in columns] for claim in self.claims]
        return pd.DataFrame(rows, columns=list(columns))

    def __repr__(self) -> str:
        return f"Listing({self.title!r}, {self.language}, {len(self.claims)} claims)"

    def __str__(self) -> str:
        notes = "".join(f"{note}\n" for note in self._remarks())
        seller = views.text("", self._parts(*FOR_THE_SELLER)).strip()
        return f"{self.text}\n{seller}\n{notes}".rstrip()

    def _repr_html_(self) -> str:
        more = self._remarks()
        seller = [
            part
            for heading, own in self._parts(*FOR_THE_SELLER)
            for part in (page.heading(heading), page.lines(own))
        ]
        return page.view(page.Html(self.html), *seller, *([page.lines(more)] if more else []))

    def _remarks(self) -> list[str]:
        """What the seller is told below."""
        left_out = [f"left out: {reason}" for reason in self.left_out]
        return [clean(each) for each in (*(f"note: {note}" for note in self.notes), *left_out)]

    def _of(self, section: str) -> tuple[str, ...]:
        return tuple(capital(claim.clause) for claim in self.claims if claim.section == section)

    def _parts(self, *sections: str) -> list[views.Part]:
        return views.parts(self.claims, self._headings, sections or PUBLISHED)


def document(some: Sequence[Listing], form: str, *, many: bool) -> str:
    """Listings as one text, as Markdown, a whole page of HTML, or JSON (``form``: "text", "markdown", "html", "json").

    ``many``: whether JSON is a list, whatever their number.
    """
    if form == "html":
        language = some[0].language if some else "en"
        name = some[0].title if len(some) == 1 else f"{len(some)}"
        return views.whole_page(language, name, [one.html for one in some])
    if form == "json":
        texts = [one.json for one in some]
        return f"[{','.join(texts)}]\n" if many else f"{texts[0]}\n"
    if form == "markdown":
        return "\n---\n\n".join(one.markdown for one in some)
    return "\n\n".join(one.text for one in some)
