"""The formats of what is written and read again, each with its version: which are read, and what is said of the others.

A file states its version in a place that is natural to it; one that states none is of version 1, from before there were
any. A version is raised where a reader of before would misread the file, or could not read it at all.
"""

from __future__ import annotations

from dataclasses import dataclass

from scarfdate.errors import ScarfdateError, shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Format:
    """One format. ``version``: the one that is written, and the newest that is read; ``oldest``: that is read."""

    what: str
    where: str  # the place in the file where its version stands
    version: int = 1
    oldest: int = 1

    def checked(self, stated: object, name: str, otherwise: str = "") -> int:
        """The version that a file states, 1 for None.

        ``name``: of the file; ``otherwise``: what can be done beside updating or with an older one. Raises
        ScarfdateError for a version that is not read, and for what is no version.
        """
        if stated is None:
            return 1
        if isinstance(stated, bool) or not isinstance(stated, int) or stated < self.oldest:
            step = f"; {otherwise}" if otherwise else ""
            raise ScarfdateError(
                f"{name} has format version {shown(stated)}, and {self._read} read here{step}"
            )
        if stated > self.version:
            step = f", or {otherwise}" if otherwise else ""
            raise ScarfdateError(
                f"{name} has format version {shown(stated)}, and {self._read} read here: a newer "
                f"version of scarfdate made it; update scarfdate{step}"
            )
        return stated

    @property
    def _read(self) -> str:
        if self.oldest == self.version:
            return f"version {self.version} is"
        return f"versions {self.oldest} to {self.version} are"


PRIORS = Format(what="folder of priors", where="format in datapackage.json", version=2)
MAP = Format(what="map of columns", where="format = 1 in front of its tables")
COSTS = Format(what="costs of selling", where="format = 1")
PRICES = Format(what="folder of prices", where="version in prices.json")
PROGRESS = Format(what="progress of practice", where="version")
JOURNAL = Format(what="journal of a sorting table", where="format")
RESULT = Format(what="dating as plain values (Dating.to_dict)", where="format", version=2)
PICKLE = Format(what="pickled dating", where="format of its state")
ALL = (PRIORS, MAP, COSTS, PRICES, PROGRESS, JOURNAL, RESULT, PICKLE)
