"""The deterministic core: values in, values out. No clock, I/O, thread, logging or randomness.

Time is always an argument (`Instant`). What enters is an input (`inputs`), what follows is an `Outcome`
(`outputs`). `farm.Farm.handle` is the one entry; everything else in this package serves it.
"""
