"""What needs a library that is not installed says which extra brings it, wherever it is asked for."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import scarfdate

ROOT = Path(scarfdate.__file__).parent.parent
SAYS = 'needs {module}, which is not installed; pip install "scarfdate[{extra}]"'


def without(module: str, code: str) -> str:
    """What ``code`` ends with in a fresh Python that has no such module: the error, or nothing."""
    lines = [
        "import sys",
        "class Absent:",
        "    def find_spec(self, name, path=None, target=None):",
        f"        if name.split('.')[0] == {module!r}:",
        "            raise ModuleNotFoundError(f'No module named {name!r}', name=name)",
        "sys.meta_path.insert(0, Absent())",
        "import scarfdate",
        "try:",
        f"    {code}",
        "except scarfdate.ScarfdateError as error:",
        "    print(error)",
    ]
    ended = subprocess.run(
        [sys.executable, "-c", "\n".join(lines)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    assert ended.returncode == 0, ended.stderr
    return ended.stdout.strip()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("module", "extra", "code"),
    [
        ("matplotlib", "plot", "scarfdate.date_scarf(scarfdate.Scarf(fibre='silk')).plot()"),
        ("matplotlib", "plot", "scarfdate.load_priors().plot_year()"),
        ("scipy", "card", "scarfdate.pocket_card(pieces=1000)"),
        # as text it needs no template
        (
            "jinja2",
            "card",
            "c = scarfdate.pocket_card(pieces=1000, clues=['hem']); str(c); c.to_html()",
        ),
    ],
)
def test_the_extra_is_named(module: str, extra: str, code: str) -> None:
    assert without(module, code).endswith(SAYS.format(module=module, extra=extra))


@pytest.mark.slow
def test_matplotlib_is_asked_for_in_one_place() -> None:
    """Every plot goes through it: no module imports Matplotlib by itself."""
    for path in (ROOT / "scarfdate").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(name.startswith("matplotlib") for name in names), path
