"""Whether some tables are those behind a result that was kept, and how it is had again."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping

from scarfdate.errors import ScarfdateError, shown
from scarfdate.formats import RESULT
from scarfdate.tables.folder import DESCRIPTOR

_HASH = re.compile(r"[0-9a-f]{12,64}")
_PRINTED = 12  # letters of a hash that a card or a screen shows


def behind(result: object, hash_: str, files: Mapping[str, bytes]) -> str:
    """A sentence or two: see `Priors.behind`. ``hash_``, ``files``: of the tables."""
    if isinstance(result, Mapping):
        RESULT.checked(result.get("format"), "the result")
        told = [result.get(name) for name in ("priors_hash", "channel", "as_of")]
        old = result.get("format") != RESULT.version
    else:
        told = [getattr(result, name, None) for name in ("priors_hash", "channel", "as_of")]
        told[0] = result if isinstance(result, str) else told[0]
        old = False
    wanted, channel, as_of = told
    if not isinstance(wanted, str) or not _HASH.fullmatch(wanted):
        raise ScarfdateError(
            "behind: a dating, what its to_dict gave, or the hash of its tables (12 letters or more, "
            f"0 to 9 and a to f) is allowed, got {shown(result)}"
        )
    given = [f"{name}={value!r}" for name, value in (("channel", channel), ("as_of", as_of))]
    given = [one for one in given if not one.endswith("=None")]
    how = f" with {' and '.join(given)}" if given else ""
    if hash_.startswith(wanted):
        again = f"These tables are behind it. To have it again, date the same notes{how}."
    elif any(each.startswith(wanted) for each in _sources(files)):
        again = (
            "It was made with the folder that these tables were upgraded from: date the same notes"
            f"{how}; the answer is nearly the same."
        )
    else:
        return (
            f"Other tables are behind it: theirs have the hash {wanted[:_PRINTED]}, these {hash_[:_PRINTED]}. "
            f"To have it again, load the folder that it was made with, and date the same notes{how}; with "
            "these tables it is dated anew, and compare_priors says who moves, and by which file."
        )
    older = " It was kept by an older version, whose sum was another: years can differ a little."
    return again + (older if old else "")


def _sources(files: Mapping[str, bytes]) -> list[str]:
    """The hashes of the folders that these files were upgraded from."""
    sources = json.loads(files.get(DESCRIPTOR, b"{}")).get("sources", [])
    hashes = [one.get("hash") for one in sources if isinstance(one, dict)]
    return [one for one in hashes if isinstance(one, str)]
