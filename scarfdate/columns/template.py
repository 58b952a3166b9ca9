"""An empty sheet for a dealer's pieces: a column a clue, drop-down lists, and a line of help a column."""

from __future__ import annotations

from pathlib import Path

from scarfdate.clues.kinds import keywords
from scarfdate.errors import TableError
from scarfdate.files import as_path, write_whole
from scarfdate.reading.table import printable
from scarfdate.reading.workbook import Written, workbook_bytes
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.tables.word_list import choices, look

_LEFT_OUT = ("long_side", "slenderness")  # worked out from the size
_METHODS = ("fibre",)  # whose method a dealer often knows; the others may be written, too


def template_columns(priors: Priors) -> list[str]:
    """The columns of a template, in the order in which a dealer looks."""
    names: list[str] = ["id"]
    for name in priors.families:
        if name in _LEFT_OUT or name not in keywords(priors):
            continue
        names.append(name)
        if name in _METHODS and name in priors.confusion:
            names.append(f"{name}_method")
        if name == "form":
            names += ["size", "fringe"]
    return [*names, "note"]


def template_bytes(priors: Priors) -> bytes:
    """The workbook: help over the headings, lists under them, and a page with all words and meanings."""
    vocabulary = priors.vocabulary
    names = template_columns(priors)
    lists = {
        name: choices(vocabulary, "method" if name.endswith("_method") else name) for name in names
    }
    helps = {
        name: look("method" if name.endswith("_method") else name, priors.families)
        for name in names
    }
    lines = [["column", "word", "what it means", "also read"]]
    for name in names:
        listed = priors.words("method" if name.endswith("_method") else name).words \
            if lists[name] else ()  # fmt: skip
        lines += [[name, one.word, one.means, one.synonyms()[:1000]] for one in listed]
        if not listed:
            lines.append([name, "", helps[name], ""])
    return workbook_bytes(
        Written(title="scarves", names=names, lists={k: v for k, v in lists.items() if v},
                helps=helps, pages={"help": lines})
    )  # fmt: skip


def write_template(path: str | Path, *, priors: Priors | None = None, new: bool = False) -> int:
    """Write the template, whole or not at all; returns how many columns it has.

    ``new``: nothing that is there is written over. Raises TableError.
    """
    known, place = checked_priors(priors), as_path(path, "template")
    try:
        import openpyxl  # noqa: F401
    except ImportError:
        from scarfdate.reading.spreadsheet import EXTRA

        raise TableError(
            f"{printable(str(path))}: spreadsheets need one more package: {EXTRA}"
        ) from None
    try:
        write_whole(place, template_bytes(known), new=new)
    except OSError as error:
        raise TableError(f"{printable(str(path))}: cannot be written ({error.strerror})") from None
    return len(template_columns(known))
