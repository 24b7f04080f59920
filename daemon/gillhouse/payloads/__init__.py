"""Bytes from a board to readings: one module per format, and `routes`, which gives each reading its fate.

Here: what a message says. Not here: the network (`mqtt`), whether a value can be believed (`core.quality`),
any clock (a message carries its arrival). Only `PayloadError` leaves a decoder, with a `Reject` as reason.
"""

from gillhouse.payloads.message import Message
from gillhouse.payloads.reject import Reject

__all__ = ["Message", "Reject"]
