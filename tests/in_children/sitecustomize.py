"""What every Python that a test starts imports first: the watch of `tests/watched.py` (not the interpreter's own
``sitecustomize``, where there is one: tests need nothing of it)."""

import importlib.util
import os
import sys

_tests = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
_watched = os.path.join(_tests, "watched.py")
_spec = importlib.util.spec_from_file_location("tests.watched", _watched)
_module = importlib.util.module_from_spec(_spec)
sys.modules["tests.watched"] = _module  # so that a test in such a process has the same
_spec.loader.exec_module(_module)
_module.watch()
