"""Seeded mutations of the corpus: bytes flipped, cut and doubled, JSON tokens swapped, dropped and traded.

`python tests/payloads/mutate.py [HOW_MANY] [SEED]` prints the share accepted and the count of each reject
reason. Anything but a PayloadError that leaves the decoder ends the run and shows the message.
"""

import random
import re
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from gillhouse.core.inputs import Delivery
from gillhouse.core.instant import Instant
from gillhouse.payloads import Message, Reject
from payloads.corpus import routes, samples

TOKEN = re.compile(rb'"(?:[^"\\]|\\.)*"|[{}\[\]:,]|[^\s{}\[\]:,"]+|\s+|.', re.DOTALL)
NASTY = [
    b"null", b"true", b"false", b"0", b"-0", b"-1", b"1e999", b"-1e999", b"NaN", b"Infinity", b'""', b'" "',
    b'"NaN"', b'"85,3"', b'"85.3 %"', b'"85.3 kPa"', b"{}", b"[]", b"[[[[[[[[]]]]]]]]", b"[" * 40, b"9" * 25,
    b"9" * 400, b"1.5", b'"open"', b'"closed"', b'"2026-11-25T10:00:00Z"', b'"2026-11-25T10:00:00"',
    b'"2026-11-25"', b'"25.11.2026"', b"1795600800", b"1795600800123", b"1e300", b'"\\ud800"', b'"\\u0000"',
    b"\x00", b"\xff", b"\xc3\xa9", b"\xed\xa0\x80", b"\xef\xbb\xbf", b"%", b" \xc2\xb0C", b"-",
    b"e", b"x" * 4096,
]  # fmt: skip
NOON = 1_795_608_000_000


@dataclass
class Tally:
    """What became of the mutations."""

    messages: int = 0
    accepted: int = 0
    """Messages that gave at least one reading."""
    readings: Counter[Delivery] = field(default_factory=Counter)
    rejects: Counter[Reject] = field(default_factory=Counter)
    seconds: float = 0.0

    def lines(self) -> list[str]:
        """The tally, for people."""
        share = self.accepted / self.messages
        return [
            f"{self.messages} messages in {self.seconds:.1f} s, {share:.1%} gave a reading",
            *(f"  {delivery:<16}{self.readings[delivery]:>9}" for delivery in Delivery),
            *(f"  {reason:<16}{self.rejects[reason]:>9}" for reason in Reject),
        ]


Mutation = Callable[[bytes, list[bytes], Callable[[int], int]], bytes]
"""(message, pool to take parts from, below(n) -> 0..n-1) -> message"""


def flip(body: bytes, pool: list[bytes], below: Callable[[int], int]) -> bytes:
    at = below(len(body) + 1)
    return body[:at] + bytes((below(256),)) + body[at + 1 :]


def insert(body: bytes, pool: list[bytes], below: Callable[[int], int]) -> bytes:
    at = below(len(body) + 1)
    return body[:at] + pool[below(len(pool))] + body[at:]


def cut(body: bytes, pool: list[bytes], below: Callable[[int], int]) -> bytes:
    at = below(len(body) + 1)
    return body[:at] + body[at + 1 + below(8) :]


def shorten(body: bytes, pool: list[bytes], below: Callable[[int], int]) -> bytes:
    return body[: below(len(body) + 1)]


def double(body: bytes, pool: list[bytes], below: Callable[[int], int]) -> bytes:
    at = below(len(body) + 1)
    return body[:at] + body[at : at + 16] * 2 + body[at + 16 :]


def swap_token(body: bytes, pool: list[bytes], below: Callable[[int], int]) -> bytes:
    """One JSON token becomes another one, or something nasty."""
    tokens = TOKEN.findall(body)
    if tokens:
        tokens[below(len(tokens))] = pool[below(len(pool))]
    return b"".join(tokens)


def trade_tokens(body: bytes, pool: list[bytes], below: Callable[[int], int]) -> bytes:
    """Two tokens change places."""
    tokens = TOKEN.findall(body)
    if tokens:
        one, other = below(len(tokens)), below(len(tokens))
        tokens[one], tokens[other] = tokens[other], tokens[one]
    return b"".join(tokens)


def drop_token(body: bytes, pool: list[bytes], below: Callable[[int], int]) -> bytes:
    tokens = TOKEN.findall(body)
    if tokens:
        del tokens[below(len(tokens))]
    return b"".join(tokens)


MUTATIONS: tuple[Mutation, ...] = (
    flip, insert, cut, shorten, double, swap_token, swap_token, trade_tokens, drop_token,
)  # fmt: skip


def run(how_many: int, seed: int) -> Tally:
    """Decodes that many mutated messages.

    Raises:
        AssertionError: something but a PayloadError left the decoder; names the message.
    """
    chance = random.Random(seed).random
    decoder, tally = routes(), Tally()
    every = [(form, body) for form, _, body in samples()]
    pool = NASTY + [token for _, body in every for token in TOKEN.findall(body[:400])]
    # good samples five times over: most of the decoder lies behind a good start
    corpus = every + [sample for sample in every if _is_read(*sample)] * 4
    began = time.monotonic()

    def below(limit: int) -> int:
        return int(chance() * limit)

    for number in range(how_many):
        form, body = corpus[below(len(corpus))]
        body = MUTATIONS[below(len(MUTATIONS))](body, pool, below)
        if number % 3 == 0:
            body = MUTATIONS[below(len(MUTATIONS))](body, pool, below)
        message = Message(form, body, Instant(NOON + number, number), retain=number % 50 == 0)
        try:
            decoded = decoder.decode(message, number % 20 != 0)
        except Exception as error:
            raise AssertionError(f"{form} {body!r} let {type(error).__name__} out: {error}") from error
        tally.accepted += bool(decoded.readings)
    tally.messages, tally.seconds = how_many, time.monotonic() - began
    tally.readings.update(decoder.delivered)
    for (_, reason), count in decoder.rejected.items():
        tally.rejects[reason] += count
    return tally


def _is_read(form: str, body: bytes) -> bool:
    return bool(routes().decode(Message(form, body, Instant(NOON, 0)), True).readings)


if __name__ == "__main__":
    asked = dict(zip(("how_many", "seed"), map(int, sys.argv[1:]), strict=False))
    print("\n".join(run(**{"how_many": 1_000_000, "seed": 1, **asked}).lines()))
