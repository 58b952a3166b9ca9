"""Fuzzing that stays: hostile inputs through every public call, and guided by coverage through the readers.

``hostile``: texts, bytes, cells and frames that nobody should write; ``doors``: what goes through which public call, and
what must hold of the answer; ``guided``: six readers as functions of bytes, and ``corpus/``, the inputs kept for them;
``oracle``: what may never come of any input. ``python -m tests.fuzz --help`` is the command.
"""
