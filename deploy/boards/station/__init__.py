"""The board's own reasoning, free of hardware: it runs on the board, and on any Python for its tests.

What touches pins, wires and radio is `main.py` beside this folder. Written in the part of Python that
MicroPython speaks.
"""
