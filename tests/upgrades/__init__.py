"""Files that older versions of the library wrote, kept as they were, and what is read of them today.

``kept/NAME_COMMIT``: written by that commit's own code, from invented pieces; the folder of priors is the project's own
of that commit. ``decades_5c52719.csv`` and ``sold_read_5c52719.csv`` are what that commit said of the two sheets beside
them. ``prices_8f6dea0`` holds 20 of the draws of that commit's demo prices. ``python -m tests.upgrades`` prints a table.
"""

from __future__ import annotations

import tarfile
from pathlib import Path

KEPT = Path(__file__).parent / "kept"


def old_priors(folder: Path) -> Path:
    """The folder of priors of commit 5c52719, unpacked into ``folder``."""
    with tarfile.open(KEPT / "priors_5c52719.tar.xz") as held:
        held.extractall(folder, filter="data")
    return folder / "priors"
