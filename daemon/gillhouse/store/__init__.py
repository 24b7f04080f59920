"""What the farm remembers: one SQLite file, written by one thread, read by as many as like.

`writer` (entries of `rows`, through `tables` into the `file`) and `reader` (answers as `records`) are what
the rest of the program uses; `schema` and `migrate` say how the file looks; `mirror` copies readings to a
second store that only receives. Not here: deciding, sending to people, drawing.
"""

JOURNAL = "journal.db"
"""The store's file in the state directory."""
