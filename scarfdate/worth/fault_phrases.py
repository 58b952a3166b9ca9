"""Faults in words, as a listing writes them, in each language of ``fault_phrases.csv``."""

from __future__ import annotations

import re

from scarfdate.tables.worth_condition import ConditionTables
from scarfdate.worth.fault import Fault

_FIELD = re.compile(r"\{(\w+)\}")
_BEHIND = "+"  # in front of what stands behind the fault: "tache de taille moyenne"
_LEFT_OUT = re.compile(
    r"(?:\s*,)+\s*(?=,|$)|\s+(?=,|\s|$)"
)  # the comma and blank of what is not there


def phrase(fault: Fault, tables: ConditionTables, language: str) -> str:
    """One fault in words; ``language``: one that listings are written in."""

    def say(part: str, word: str | None) -> str:
        return tables.phrases[part, word][language] if word is not None else ""

    several = fault.count > 1
    many = "many" if several else "one"
    called = fault.named if (many, fault.named) in tables.phrases else fault.kind
    form = tables.phrases.get((f"form of {many}", called or ""), {}).get(language, "1")

    def beside(part: str, word: str | None) -> str:
        """A size or a degree in the form that fits the fault."""
        forms = say(part, word).split("|")
        return forms[min(int(form), len(forms)) - 1]

    spreading = {None: None, True: "yes", False: "no"}[fault.spreading]
    mm = "" if fault.size_mm is None else f"{round(fault.size_mm, 1):g}"
    mm = mm.replace(".", say("state", "decimal"))
    size = beside("size", None if mm else fault.size)
    behind = size.removeprefix(_BEHIND) if size.startswith(_BEHIND) else ""
    put_in = {
        "doubt": say("state", None if fault.sure == 1 else "doubtful"),
        "number": str(fault.count) if several and fault.counted else "",
        "degree": beside("degree", fault.degree),
        "size": "" if behind else size,
        "kind": f"{say(many, called)} {behind}".strip(),
        "measure": say("state", "measure").replace("{mm}", mm) if mm else "",
        "place": say("place", fault.place),
        "spreading": say("spreading", spreading),
        "mended": say("state", "mended" if fault.mended else None),
    }
    text = _FIELD.sub(lambda name: put_in[name[1]], say("pattern", "fault"))
    return _LEFT_OUT.sub("", " ".join(text.split())).strip(" ,")
