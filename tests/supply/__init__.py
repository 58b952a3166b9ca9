"""What scarfdate is built from and built into: its locks, its dependencies, its wheel and its bill of materials.

``python -m tests.supply`` does it all (extra ``release``); each part is a word after it.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def run(*command: str | Path, at: Path = ROOT, **settings: str) -> str:
    """What a program prints, run in the folder ``at``; ``python`` is this one, ``settings`` are added to the environment.

    Raises RuntimeError with what the program complained of.
    """
    ended = subprocess.run(
        [sys.executable if part == "python" else str(part) for part in command],
        capture_output=True,
        text=True,
        check=False,
        cwd=at,
        env=os.environ | settings,
    )
    if ended.returncode:
        raise RuntimeError(f"{' '.join(map(str, command))}\n{ended.stdout}{ended.stderr}")
    return ended.stdout
