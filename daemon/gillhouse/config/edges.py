"""A sound draft -> the settings of the parts around the core (`gillhouse.core.edges`)."""

import ipaddress
from pathlib import Path

from gillhouse.config import wire_file as wf
from gillhouse.config.draft import Draft
from gillhouse.config.places import secret_path
from gillhouse.core.edges import (
    BrokerSettings,
    GpioPin,
    MirrorSettings,
    ModbusCoil,
    ModbusLine,
    RelayWire,
    ReportSettings,
    SensorRoute,
    StoreSettings,
)


def is_loopback(host: str) -> bool:
    """`host` is this very machine."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def beside(folder: Path, name: str | None) -> str | None:
    """`name` as it stands where absolute, a credential's place, else inside `folder`."""
    return None if name is None else str(secret_path(folder, name))


def broker(draft: Draft, folder: Path) -> BrokerSettings:
    given = draft.broker
    tls = not is_loopback(given.host) if given.tls is None else given.tls
    return BrokerSettings(
        host=given.host,
        port=given.port or (8883 if tls else 1883),
        protocol=given.protocol,
        client_id=given.client_id,
        username=given.username,
        password_file=beside(folder, given.password_file),
        tls=tls,
        ca_file=beside(folder, given.ca_file),
        base_topic=given.base_topic,
        keepalive_s=given.keepalive // 1000,
        max_payload=given.max_payload,
    )


def route(ident: str, sensor: wf.SensorGroup) -> SensorRoute:
    words = None
    if isinstance(sensor, wf.WordsSensor):
        one, zero = wf.WORD_KEYS[sensor.quantity]
        words = (sensor.words[one], sensor.words[zero])
    return SensorRoute(
        sensor=ident,
        topic=sensor.topic,
        format=getattr(sensor, "format"),  # noqa: B009  (each format's class has it, their base has not)
        quantity=sensor.quantity,
        unit=getattr(sensor, "unit", None) or "1",
        every_ms=sensor.every,
        path=getattr(sensor, "path", None),
        time_path=getattr(sensor, "time", None),
        seq_path=getattr(sensor, "seq", None),
        words=words,
        senml_name=getattr(sensor, "record", None),
    )


def wire(ident: str, relay: wf.RelayGroup, advise_only: bool) -> RelayWire:
    said: dict[str, str | None] = {}
    if relay.command:
        said |= {
            "command_topic": relay.command.topic,
            "payload_on": relay.command.on,
            "payload_off": relay.command.off,
        }
    if relay.state:
        said |= {"state_topic": relay.state.topic, "state_path": relay.state.path}
        said |= {"state_on": relay.state.on, "state_off": relay.state.off}
    if relay.available:
        said |= {"available_topic": relay.available.topic}
        said |= {"available_on": relay.available.on, "available_off": relay.available.off}
    pin = relay.gpio
    return RelayWire(
        ident,
        relay.driver,
        **said,  # type: ignore[arg-type]  # None stands only where RelayWire takes it
        gpio=None if pin is None else GpioPin(pin.pin, pin.active_low, pin.chip),
        modbus=None if relay.modbus is None else coil(relay.modbus),
        advise_only=advise_only if relay.advise_only is None else relay.advise_only,
    )


def coil(given: wf.ModbusGroup) -> ModbusCoil:
    if given.serial is None:
        line = ModbusLine(given.host or "", given.port, timeout_ms=given.timeout)
    else:
        line = ModbusLine(
            serial=given.serial,
            baud=given.baud,
            parity=given.parity[0].upper(),
            stop_bits=given.stop_bits,
            timeout_ms=given.timeout,
        )
    return ModbusCoil(line, given.coil, given.device)


def store(draft: Draft) -> StoreSettings:
    return StoreSettings(
        commit_every_ms=draft.store.commit_every,
        queue_rows=draft.store.queue_rows,
        release_after_ms=draft.alarms.store_grace,
        keep_days=draft.store.keep // 86_400_000,
    )


def mirror(draft: Draft, folder: Path) -> MirrorSettings | None:
    given = draft.mirror
    if given is None:
        return None
    return MirrorSettings(
        url=given.url,
        org=given.org,
        bucket=given.bucket,
        token_file=beside(folder, given.token_file),
        batch_rows=given.batch_rows,
        every_ms=given.every,
        timeout_ms=given.timeout,
        keep_days=given.keep // 86_400_000,
    )


def report(draft: Draft, folder: Path) -> ReportSettings:
    given = draft.report
    return ReportSettings(
        night_from_min=given.night_start,
        night_to_min=given.night_end,
        send_at_min=given.send_at,
        forecast_file=beside(folder, given.forecast),
        slug_nights=given.slug_nights,
    )
