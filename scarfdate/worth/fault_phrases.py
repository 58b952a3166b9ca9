"""Faults in words, as a listing writes them, in each language of ``fault_phrases.csv``."""

from __future__ import annotations

import re

from scarfdate.tables.worth_condition import ConditionTables
from scarfdate.worth.fault import Fault

_FIELD = re.compile(r"\{(\w+)\}")
_LEFT_OUT = re.compile(
    r"(?:\s*,)+\s*(?=,|$)|\s+(?=,|\s|$)"
)  # the comma and blank of what is not there


def phrase(fault: Fault, tables: ConditionTables, language: str) -> str:
    """One fault in words; ``language``: one that listings are written in."""

    def say(part: str, word: str | None) -> str:
        return tables.phrases[part, word][language] if word is not None else ""

    several = fault.count > 1
    spreading = {None: None, True: "yes", False: "no"}[fault.spreading]
    mm = "" if fault.size_mm is None else f"{round(fault.size_mm, 1):g}"
    mm = mm.replace(".", say("state", "decimal"))
    put_in = {
        "doubt": say("state", None if fault.sure == 1 else "doubtful"),
        "number": str(fault.count) if several and fault.counted else "",
        "degree": say("degree", fault.degree),
        "size": say("size", None if mm else fault.size),
        "kind": say("many" if several else "one", fault.kind),
        "measure": say("state", "measure").replace("{mm}", mm) if mm else "",
        "place": say("place", fault.place),
        "spreading": say("spreading", spreading),
        "mended": say("state", "mended" if fault.mended else None),
    }
    text = _FIELD.sub(lambda name: put_in[name[1]], say("pattern", "fault"))
    return _LEFT_OUT.sub("", " ".join(text.split())).strip(" ,")
