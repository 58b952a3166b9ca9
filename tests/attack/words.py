"""What is put into every cell that a person can write, and the harmless letters it is held against."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from scarfdate import Priors, load_priors
from scarfdate.tables.priors import folder_files, priors_of_files

# each breaks out of something, or runs where something is not escaped
PAYLOADS = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'><svg/onload=alert(1)>",
    '" onmouseover="alert(1)" x="',
    "' onfocus='alert(1)' autofocus='",
    "</style></title></textarea></svg></td></table><iframe src=javascript:alert(1)>",
    "<!-- --><!-->",
    "<![CDATA[<b>]]></b>",
    "&lt;script&gt;alert(1)&lt;/script&gt; &amp;amp; &#60;b&#62; &quot;",
    "<a href=javascript:alert(1)>[a](javascript:alert(1))</a>",
    "$\\href{javascript:alert(1)}{x}$ \\(\\href{javascript:alert(1)}{x}\\) $$x$$ \\begin{x}",
    "{{7*7}} {% print(7) %} ${7*7} `alert(1)`",
    "a\u2028<b>\u2029\u202eb\u2066c\ufeff<b>",
    "\x1b[31m\x1b]8;;javascript:alert(1)\x07<b>\x08\x9b2J",
)
HOSTILE = " ".join(PAYLOADS)
SHORT = "<img src=x onerror=alert(1)>\"'>$\\a{b}$`\x1b]8;;\x07"  # where only some dozen letters are taken
_MEANS = "<>&\"'`{}$\\"  # letters that mean something to a browser, a template or a typesetter of mathematics


def harmless(text: str) -> str:
    """As many letters, in words as long, and none that means anything."""
    return "".join(
        " " if one.isspace() and one not in "\n\t" else
        "k" if one in _MEANS or not (one.isprintable() or one in "\n\t") else one
        for one in text
    )  # fmt: skip


# columns of priors that say something to a person
SAID = {
    "source", "note", "description", "caution", "why", "alt", "reason", "says", "title", "means",
}  # fmt: skip
# columns of the same names that hold words of the tables
WORDS_OF_OURS = {
    ("wording.csv", "reason"), ("label_rules.csv", "means"), ("doubt.csv", "means"), ("worth/fault_words.csv", "means"), ("sheet_words.csv", "says"),
    ("worth/condition_cautions.csv", "caution"), ("worth/caution_when.csv", "caution"),
    ("sheet_words.csv", "says"), ("descriptions.csv", "says"),
}  # fmt: skip
# words that a folder may name as it likes: where they stand, they stand in every table that knows them
NAMED = {"paisley", "hand-rolled", "Quorvelle"}
NAME = "<b/a='\\\">&$x$"


def priors_with(text: str, word: str) -> Priors:
    """The shipped tables as somebody might send them: ``text`` behind all that is said, ``word`` in names of values."""
    files = {
        name: _with(text, word, name, content)
        for name, content in folder_files(load_priors()).items()
    }
    return priors_of_files(files, f"folder {text}")


def _with(text: str, word: str, file: str, content: bytes) -> bytes:
    if not file.endswith(".csv"):
        return content
    header, *rows = csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""))
    told = {
        at for at, name in enumerate(header) if name in SAID and (file, name) not in WORDS_OF_OURS
    }
    made = []
    for row in rows:
        a_reference = file == "vocabulary.csv" and "value" not in row  # of one word to another
        made.append([
            f"{cell} {text}" if at in told and cell and not a_reference else
            cell if header[at] == "phrase" else _named(cell, word)
            for at, cell in enumerate(row)
        ])  # fmt: skip
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows([[_named(cell, word) for cell in header], *made])
    return out.getvalue().encode()


def _named(cell: str, word: str) -> str:
    return " | ".join(f"{part}{word}" if part in NAMED else part for part in cell.split(" | "))


def file_cells(cells: Mapping[str, str]) -> bytes:
    """One row under its headings, as CSV."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows([cells.keys(), cells.values()])
    return out.getvalue().encode()
