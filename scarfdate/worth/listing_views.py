"""A listing as plain text, Markdown and HTML: a title, and under each heading a clause a line.

What a person typed stands in some clauses; each view makes it harmless in its own way, here alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from html import escape

from scarfdate.show import page
from scarfdate.show.sentence import capital
from scarfdate.show.terminal import clean
from scarfdate.worth.claims import PUBLISHED, TITLE, Claim

Part = tuple[str, list[str]]  # a heading, and the clauses under it
# what begins anything in Markdown: HTML and links, too
_MARKDOWN = re.compile(r"([\\`*_\[\]<>&#|~$])")


def title(claims: Iterable[Claim]) -> str:
    """What the piece is, on one line."""
    return capital(", ".join(one.clause for one in claims if one.section == TITLE))


def parts(
    claims: Sequence[Claim], headings: Mapping[str, str], sections: Iterable[str] = PUBLISHED
) -> list[Part]:
    """The sections that have a clause, each under its heading; the title is none of them."""
    found = []
    for section in sections:
        some = [capital(one.clause) for one in claims if one.section == section]
        if some and section != TITLE:
            found.append((headings[section], some))
    return found


def text(head: str, some: Iterable[Part]) -> str:
    """Plain text without control characters."""
    blocks = [[head], *([heading, *(f"- {each}" for each in own)] for heading, own in some)]
    return "\n\n".join("\n".join(map(clean, block)) for block in blocks) + "\n"


def markdown(head: str, some: Iterable[Part]) -> str:
    """CommonMark in which nothing but the headings and lists is markup."""
    blocks = [[f"# {_plain(head)}"]]
    for heading, own in some:
        blocks.append([f"## {_plain(heading)}", "", *(f"- {_plain(each)}" for each in own)])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _plain(line: str) -> str:
    """A line of which no letter is markup; nor is it read as an address, or as the start of a list."""
    safe = _MARKDOWN.sub(r"\\\1", clean(line)).replace("://", ":\\//").replace("@", "\\@")
    return re.sub(r"^(\d+)([.)])", r"\1\\\2", re.sub(r"^([-+=])", r"\\\1", safe.strip()))


def html(head: str, some: Iterable[Part]) -> page.Html:
    """A piece of a page, without script or style from elsewhere."""
    inner = [page.strong(clean(head))]
    for heading, own in some:
        inner += [page.heading(heading), page.lines(own)]
    return page.Html(page.view(*inner))


def whole_page(language: str, name: str, views: Iterable[str]) -> str:
    """Views one below the other as a page of their own."""
    inside = "\n<hr>\n".join(views)
    return (
        f'<!doctype html>\n<html lang="{escape(language)}">\n<head><meta charset="utf-8">'
        f"<title>{escape(clean(name))}</title></head>\n<body>\n{inside}\n</body>\n</html>\n"
    )
