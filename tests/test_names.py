"""A name of the front door is the same thing in whatever order names are asked for."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import scarfdate

ROOT = Path(__file__).parents[1]
ORDERS = {
    "as listed": "from scarfdate import *",
    "backwards": "from scarfdate import " + ", ".join(reversed(scarfdate.__all__)),
    "after all modules": (
        "import pkgutil, importlib, scarfdate\n"
        "for m in pkgutil.iter_modules(scarfdate.__path__):\n"
        "    importlib.import_module('scarfdate.' + m.name)\n"
        "from scarfdate import *"
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("order", ORDERS)
def test_no_module_stands_in_for_a_name(order: str) -> None:
    """A module of the same name, once imported, would be found in the function's place."""
    check = "\nimport types\nprint([n for n, v in list(globals().items()) if n in scarfdate.__all__"
    code = f"import scarfdate\n{ORDERS[order]}{check} and isinstance(v, types.ModuleType)])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert run.stdout.strip() == "[]", run.stdout + run.stderr
