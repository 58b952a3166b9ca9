"""Densities over years from dates that are intervals: "1950s", "ca. 1968", "20th century".

Arrays in, arrays out: nothing here knows of scarves or files. Four floors, each using those below:
`intervals` (distinct intervals with their counts) and `rows` (what a record says about each cell);
`turnbull` (the reference: nothing assumed but the intervals); `smoothed` (the default: a smooth
density with a band); `statements` (what a museum means by the date it states, estimated).

The names of this package are imported from their modules, so that nothing is loaded unasked.
"""
