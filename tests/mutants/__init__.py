"""Mutation testing: small faults are put into the code one at a time, and the fast tests have to notice each.

``python -m tests.mutants ROOM_OR_FILE ...`` (extra ``mutants``). The faults and their names are cosmic-ray's. Each is
tried in a child of one warm process in which the tests are collected already, against the fast tests that run its
line, the quickest first, until one fails. ``survivors.csv`` says of faults that no test can see why that is so.
"""
