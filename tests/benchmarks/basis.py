"""How the numbers that enter a dating are known: their share by basis, weighted by what the clues tell.

    python -m tests.benchmarks.basis [FOLDER]

Each family of shares or measurements counts with its bits about the decade (`information.csv`, all
grades), shared out by the basis of its rows, a row as many times as it has numbers. Label texts, which
`information.csv` does not weigh, are left out. Unweighted: every number counts as one.
"""

from __future__ import annotations

import sys
from collections import Counter

from scarfdate import load_priors
from scarfdate.tables.schema import shipped_folder


def by_basis(folder: str) -> tuple[Counter[str], Counter[str]]:
    """Shares by basis, (weighted by bits, each number one), both summing to one."""
    import pandas as pd

    priors = load_priors(folder)
    bits = (
        pd.read_csv(f"{folder}/information.csv").query("grade == 'all'").set_index("family")["bits"]
    )
    weighted: Counter[str] = Counter()
    plain: Counter[str] = Counter()
    for name, table in {**priors.shares, **priors.measured}.items():
        columns = next(iter(table.series.values()))[1].shape[1]
        rows = Counter(basis.basis for basis in table.bases)
        for kind, count in rows.items():
            plain[kind] += count * columns
            weighted[kind] += float(bits[name]) * count / rows.total()
    return tuple(  # type: ignore[return-value]
        Counter({kind: value / counts.total() for kind, value in counts.items()})
        for counts in (weighted, plain)
    )


if __name__ == "__main__":
    weighted, plain = by_basis(sys.argv[1] if len(sys.argv) > 1 else str(shipped_folder()))
    print(f"{'basis':16} by bits  numbers")
    for kind, share in weighted.most_common():
        print(f"{kind:16} {share:7.1%} {plain[kind]:8.1%}")
