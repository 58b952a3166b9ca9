"""`sorting_table` at the front door."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

import scarfdate


def test_without_the_extra_it_says_which(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "anywidget", None)
    with pytest.raises(ImportError, match=r'pip install "scarfdate\[notebooks\]"') as refused:
        scarfdate.sorting_table(tmp_path / "stock.csv", as_of=2026)
    assert isinstance(refused.value, scarfdate.ScarfdateError)
    assert not [*tmp_path.iterdir()]
