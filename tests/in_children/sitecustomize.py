"""What every Python that a test starts imports first: the watch of `tests/watched.py` (not the interpreter's own
``sitecustomize``, where there is one: tests need nothing of it)."""

import importlib.util
import os

_watched = os.path.join(os.path.dirname(os.path.abspath(__file__)), os.pardir, "watched.py")
_spec = importlib.util.spec_from_file_location("watched", _watched)
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)
_module.watch()
