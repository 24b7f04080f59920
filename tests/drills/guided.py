"""Payloads led by coverage: atheris, an open-source fuzzing library, looks for a way not gone before.

Not part of the tests, since it is not needed otherwise: `pip install atheris`, then
`python -m tests.drills.guided -runs=10000000 -max_len=600 FOLDER`; arguments are libFuzzer's.

The first byte says which format's topic the rest arrives on. Anything that leaves the decoder is a find.
"""

import sys
from pathlib import Path

NOON = 1_795_608_000_000


def main() -> None:
    try:
        import atheris  # type: ignore[import-not-found]
    except ImportError:
        sys.exit("atheris is not installed: pip install atheris")
    with atheris.instrument_imports(include=["gillhouse.payloads", "jsonpointer"]):
        from gillhouse.core.instant import Instant
        from gillhouse.payloads import Message
        from payloads.corpus import ROUTES, routes, samples
    forms, decoder = list(ROUTES), routes()

    def one(data: bytes) -> None:
        if data:
            form = forms[data[0] % len(forms)]
            decoder.decode(Message(form, data[1:], Instant(NOON, 0)), data[0] < 200)

    folders = [word for word in sys.argv[1:] if not word.startswith("-")]
    for folder in folders[:1]:
        Path(folder).mkdir(parents=True, exist_ok=True)
        for form, name, body in samples():
            (Path(folder) / f"{form}-{name}").write_bytes(bytes((forms.index(form),)) + body)
    atheris.Setup(sys.argv, one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
