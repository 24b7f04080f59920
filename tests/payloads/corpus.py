"""The samples, and one set of routes per format that reads them. Files hold exactly a message's bytes."""

from pathlib import Path

from gillhouse.core.edges import SensorRoute
from gillhouse.core.quantities import Quantity
from gillhouse.payloads.routes import Routes

SAMPLES = Path(__file__).parent / "samples"
MAX_PAYLOAD = 4096
DEVICE = "urn:dev:ow:10e2073a01080063"
WORDS = ("open", "closed")


def _route(
    sensor: str, form: str, quantity: Quantity = Quantity.HUMIDITY, unit: str = "%", **more: str
) -> SensorRoute:
    words = WORDS if quantity is Quantity.DOOR else None
    return SensorRoute(sensor, form, form, quantity, unit, 10_000, words=words, **more)


ROUTES: dict[str, tuple[SensorRoute, ...]] = {
    "number": (_route("n", "number"),),
    "json": (
        _route("rh", "json", path="/rh", time_path="/ts", seq_path="/n"),
        _route("t", "json", Quantity.TEMPERATURE, "degC", path="/air/t/0"),
        _route("co2", "json", Quantity.CO2, "ppm", path="/co2", seq_path="/n"),
    ),
    "senml": (
        _route("s", "senml", Quantity.TEMPERATURE, "Cel", senml_name=DEVICE),
        _route("hum", "senml", senml_name=f"{DEVICE}:hum"),
        _route("open", "senml", Quantity.DOOR, "1", senml_name=f"{DEVICE}:open"),
    ),
    "words": (
        _route("w", "words", Quantity.DOOR, "1"),
        _route("wj", "words", Quantity.DOOR, "1", path="/door", time_path="/ts", seq_path="/n"),
    ),
}


def routes() -> Routes:
    """All sensors of the corpus; a format's name is its topic."""
    return Routes([route for several in ROUTES.values() for route in several], MAX_PAYLOAD)


def samples() -> list[tuple[str, str, bytes]]:
    """(format, file name, bytes) of every sample."""
    files = sorted(path for form in ROUTES for path in (SAMPLES / form).iterdir())
    return [(path.parent.name, path.name, path.read_bytes()) for path in files]
