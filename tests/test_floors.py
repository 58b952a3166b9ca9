"""Imports run one way: every module stands on a floor, and imports only from floors below its own.

Listed lowest first; modules of one line do not import each other. A module that is on no floor fails.
"""

from __future__ import annotations

import ast
from pathlib import Path

import scarfdate

FLOORS = [
    "errors",
    "conventions",
    "files units knots years edtf",
    "pocket_fit",
    "show.sentence show.page show.terminal show.plot show.plot_scores show.sheet show.say",
    "show.card_page",
    "density.intervals",
    "density.rows density.statements",
    "density.turnbull density.smoothed",
    "density.statement_fit",
    "tables.sheet tables.column",
    "tables.schema",
    "tables.vocabulary tables.families tables.shares tables.folder",
    "tables.measured tables.looking tables.century tables.makers tables.medium",
    "tables.label tables.checks tables.limits",
    "tables.priors tables.descriptor",
    "medium_reader label_signs",
    "medium label_reader",
    "label",
    "reading",
    "scarf",
    "clues.clue",
    "clues.shares clues.maker clues.dated clues.label",
    "shapley claims",
    "model",
    "subsets by_rows",
    "evidence information",
    "information_table",
    "posterior weighing simulation",
    "replicas",
    "slips",
    "summary",
    "dating",
    "comparison",
    "one_scarf",
    "explanation surprises wrong_tables next_look slopes",
    "edge_rules",
    "distinct csv_text",
    "columns",
    "sheets many_scarves",
    "learning.sale_cells learning.sold_row learning.sold_files",
    "learning.sold_columns learning.circularity learning.understood",
    "learning.sold_rows",
    "learning.sold_records",
    "learning.scores",
    "learning.verdicts",
    "learning.helped",
    "learning.container",
    "learning.lateness",
    "learning.deviations learning.patterns",
    "learning.shares_term",
    "learning.target",
    "learning.trust learning.year_factor",
    "learning.curvature learning.counts learning.groups",
    "learning.laplace learning.new_tables",
    "learning.operation",
    "learning.nuts",
    "learning.learned",
    "learning.routes",
    "pocket_draw pocket_cost",
    "pocket_sheet",
    "pocket",
    "museum.columns_map museum.fault_log museum.record_arrays",
    "museum.json_objects museum.record_cells",
    "museum.record_files",
    "museum.record_rows",
    "museum.records",
    "museum.trade_counts",
    "museum.trade_hem",
    "museum.trade",
    "museum.clue_tables",
    "museum.noted",
    "museum.year",
    "museum.combined museum.disagreements",
    "museum.built_tables",
    "museum.build",
    "cli",
]
PACKAGE = Path(scarfdate.__file__).parent
FLOOR = {name: height for height, line in enumerate(FLOORS) for name in line.split()}


def _modules() -> dict[str, Path]:
    found = {}
    for path in PACKAGE.rglob("*.py"):
        name = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        if path.name != "__init__.py" and not name.startswith("priors"):
            found[name] = path
    return found


def _imported(path: Path) -> set[str]:
    """Our own modules that a file imports when it is loaded or called; not those for types alone."""
    found: set[str] = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    types = [
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        for inner in ast.walk(node)
    ]
    for node in ast.walk(tree):
        if node in types:
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    names = {name.removeprefix("scarfdate.") for name in found if name.startswith("scarfdate.")}
    return names & set(_modules())


def test_every_module_is_on_a_floor_and_every_floor_is_built() -> None:
    assert set(_modules()) == set(FLOOR)


def test_imports_run_downwards_only() -> None:
    upwards = [
        f"{name} imports {other}"
        for name, path in _modules().items()
        for other in _imported(path)
        if name in FLOOR and other in FLOOR and FLOOR[other] >= FLOOR[name]
    ]
    assert not upwards
