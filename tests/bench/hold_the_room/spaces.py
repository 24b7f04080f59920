"""The spaces: what each truly is, and what its farm file says it is. Two sets; nobody tunes on `held-back`.

Every size is invented, inside the ranges of the simulator's `RoomPlan`. A `Site` is the truth; `settings`
gives what the farm is told, where fan, nozzle and leakage are wrong by up to 40 % either way.
"""

from dataclasses import dataclass
from datetime import UTC

from gillhouse.core.crops import Band, Stage
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import (
    AlarmSettings,
    FarmSettings,
    IntakeSettings,
    ProgrammeSettings,
    RelaySettings,
    Role,
    SensorSettings,
    SpaceKind,
    SpaceSettings,
    When,
)
from gillhouse.sim.room import RoomPlan

LOW_PCT, HIGH_PCT, HIGH_PPM = 85.0, 95.0, 1000.0
"""The bench's band for every space: an example, not a species'."""
ALARM_LOW_PCT, ALARM_HIGH_PCT, ALARM_K, ALARM_PPM = 80.0, 98.0, 4.0, 1500.0
"""Where a person is called; temperatures so far outside the site's band."""


@dataclass(frozen=True, slots=True)
class Site:
    """One space as it truly is, and how far what is said of it is off."""

    name: str
    kind: SpaceKind
    plan: RoomPlan
    """With the flush at its start; see `plant.flush`."""
    fan_m3_h: float
    nozzle_kg_h: float
    heater_w: float
    low_c: float
    high_c: float
    split_w: float = 0.0
    """A split unit with a thermostat of its own, that nobody tells the farm of."""
    fan_label: float = 1.0
    """Label over truth."""
    nozzle_label: float = 1.0
    leak_ach_told: float = 0.3
    every_s: int = 30
    pulse_s: int = 8
    gap_s: int = 60
    longest_mist_s: int = 60
    least_fan_s: int = 60
    house_air: bool = False
    """Its fan draws the air of a house, not of the open."""


def _plan(volume_m3: float, kg: float, breath: float, **more: float) -> RoomPlan:
    shell_m2 = 6.3 * volume_m3 ** (2 / 3)
    sizes = {
        "leak_m2": 0.012,
        "shell_w_m2k": 0.5,
        "structure_j_k": 25_000.0 * shell_m2,
        "skin_w_k": 0.15 * kg,
        "crop_m2": 0.03 * kg,
        "floor_m2": shell_m2 / 5.0,
    }
    sizes.update(more)
    return RoomPlan(volume_m3=volume_m3, shell_m2=shell_m2, substrate_kg=kg, breath_g_kgh=breath, **sizes)


MAIN = {
    "room": Site(
        "room", SpaceKind.ROOM,
        _plan(45.0, 300.0, 0.12, drop_um=40.0, door_m3_s=0.15, q10=2.5, leak_m2=0.012),
        fan_m3_h=180.0, nozzle_kg_h=14.0, heater_w=1500.0, low_c=12.0, high_c=18.0, split_w=1800.0,
        fan_label=1.35, nozzle_label=0.8, leak_ach_told=0.3, every_s=30, pulse_s=8,
    ),
    "tent": Site(
        "tent", SpaceKind.TENT,
        _plan(9.0, 40.0, 0.10, drop_um=28.0, fall_m=1.2, door_m3_s=0.06, leak_m2=0.008, shell_w_m2k=2.5,
              structure_j_k=4_000.0 * 27.0, wind_share=0.003),
        fan_m3_h=70.0, nozzle_kg_h=4.5, heater_w=0.0, low_c=16.0, high_c=22.0,
        fan_label=0.75, nozzle_label=1.3, leak_ach_told=0.5, every_s=20, pulse_s=6, gap_s=45,
        longest_mist_s=30, house_air=True,
    ),
    "barn": Site(
        "barn", SpaceKind.OPEN,
        _plan(300.0, 600.0, 0.035, drop_um=60.0, fall_m=2.5, door_m3_s=0.3, leak_m2=4.0, shell_w_m2k=3.0,
              wind_share=0.02, air_factor=2.0, crop_share=0.25),
        fan_m3_h=0.0, nozzle_kg_h=150.0, heater_w=0.0, low_c=5.0, high_c=25.0,
        nozzle_label=1.2, leak_ach_told=5.0, every_s=30, pulse_s=20, gap_s=60, longest_mist_s=120,
    ),
}  # fmt: skip
"""What the controllers may be tuned on."""

HELD_BACK = {
    "room": Site(
        "room", SpaceKind.ROOM,
        _plan(28.0, 160.0, 0.18, drop_um=48.0, door_m3_s=0.25, q10=3.0, leak_m2=0.02, shell_w_m2k=0.8,
              crop_w_m2k=3.5, crop_share=0.4, air_factor=4.0),
        fan_m3_h=140.0, nozzle_kg_h=7.0, heater_w=1200.0, low_c=12.0, high_c=18.0, split_w=1500.0,
        fan_label=0.7, nozzle_label=1.4, leak_ach_told=0.8, every_s=20, pulse_s=10,
    ),
    "tent": Site(
        "tent", SpaceKind.TENT,
        _plan(5.0, 22.0, 0.15, drop_um=22.0, fall_m=1.0, door_m3_s=0.08, leak_m2=0.004, shell_w_m2k=2.0,
              structure_j_k=4_000.0 * 18.0, wind_share=0.003, air_factor=2.2),
        fan_m3_h=55.0, nozzle_kg_h=2.0, heater_w=150.0, low_c=16.0, high_c=22.0,
        fan_label=1.4, nozzle_label=0.65, leak_ach_told=0.2, every_s=30, pulse_s=5, gap_s=45,
        longest_mist_s=30, house_air=True,
    ),
    "barn": Site(
        "barn", SpaceKind.OPEN,
        _plan(180.0, 400.0, 0.10, drop_um=50.0, fall_m=2.2, door_m3_s=0.3, leak_m2=1.8, shell_w_m2k=3.0,
              wind_share=0.012, air_factor=2.5, crop_share=0.35),
        fan_m3_h=0.0, nozzle_kg_h=80.0, heater_w=0.0, low_c=5.0, high_c=25.0,
        nozzle_label=0.7, leak_ach_told=8.0, every_s=20, pulse_s=15, gap_s=60, longest_mist_s=120,
    ),
}  # fmt: skip
"""Other sizes, other drops, labels wrong the other way."""

SETS = {"main": MAIN, "held-back": HELD_BACK}


def _sensors(site: Site, calibrated: bool) -> list[SensorSettings]:
    every = site.every_s * 1000
    error_pct = 1.0 if calibrated else 3.0

    def one(id: str, quantity: Quantity, space: str | None, error: float, every_ms: int) -> SensorSettings:
        zone = "middle" if space else "outdoor"
        silent_ms = max(13 * every_ms // 4, 120_000)  # as a farm file that says nothing of it
        good = calibrated and quantity is Quantity.HUMIDITY
        return SensorSettings(id, quantity, space, zone, every_ms, silent_ms, error, good)

    found = [
        one("rh", Quantity.HUMIDITY, site.name, error_pct, every),
        one("temp", Quantity.TEMPERATURE, site.name, 0.3 if calibrated else 0.5, every),
        one("co2", Quantity.CO2, site.name, 30.0 if calibrated else 50.0, every),
        one("door", Quantity.DOOR, site.name, 0.0, 60_000),
        one("tank", Quantity.TANK, None, 0.0, 60_000),
        one("out-rh", Quantity.HUMIDITY, site.name, 3.0, 60_000),
        one("out-temp", Quantity.TEMPERATURE, site.name, 0.5, 60_000),
    ]
    return [_outside(sensor) if sensor.id.startswith("out-") else sensor for sensor in found]


def _outside(sensor: SensorSettings) -> SensorSettings:
    return SensorSettings(
        sensor.id, sensor.quantity, sensor.space, "intake", sensor.every_ms, sensor.silent_after_ms,
        sensor.error, False,
    )  # fmt: skip


def _relays(site: Site, right_labels: bool) -> list[RelaySettings]:
    fan = site.fan_m3_h * (1.0 if right_labels else site.fan_label)
    nozzle = site.nozzle_kg_h * (1.0 if right_labels else site.nozzle_label)
    relays = [
        RelaySettings(
            "mist", Role.MIST, site.name, advise_only=False, lease_ms=120_000, litres_per_h=nozzle,
            longest_run_ms=site.longest_mist_s * 1000, rest_after_longest_ms=120_000, tank="tank",
            pulse_ms=site.pulse_s * 1000, pulse_gap_ms=site.gap_s * 1000,
        )
    ]  # fmt: skip
    if site.fan_m3_h:
        least = site.least_fan_s * 1000
        relays.append(
            RelaySettings(
                "fan", Role.FAN, site.name, advise_only=False, air_m3_per_h=fan, least_on_ms=least,
                least_off_ms=least,
            )
        )  # fmt: skip
    if site.heater_w:
        relays.append(
            RelaySettings(
                "heater", Role.HEATER, site.name, advise_only=False, lease_ms=120_000, watts=site.heater_w,
                least_on_ms=60_000, least_off_ms=60_000, longest_run_ms=1_800_000,
                rest_after_longest_ms=120_000,
            )
        )  # fmt: skip
    return relays


def _programmes(site: Site) -> list[ProgrammeSettings]:
    if site.kind is SpaceKind.OPEN:
        return [ProgrammeSettings("mist-day", site.name, Role.MIST, 30_000, 0, When.ALWAYS, every_min=30)]
    mist = ProgrammeSettings(
        "mist-fallback", site.name, Role.MIST, site.pulse_s * 1000, site.pulse_s * 600, When.FALLBACK,
        every_min=15,
    )  # fmt: skip
    fan = ProgrammeSettings(
        "fan-fallback", site.name, Role.FAN, 300_000, 300_000, When.FALLBACK, every_min=30
    )
    return [mist, fan]


def settings(site: Site, calibrated: bool = True, right_labels: bool = False) -> FarmSettings:
    """What the farm is told of the site."""
    space = SpaceSettings(
        id=site.name, name=site.name, kind=site.kind, walk_in=site.kind is not SpaceKind.TENT,
        volume_m3=site.plan.volume_m3, species="grey-oyster", stage=Stage.FRUITING,
        crop_kg=site.plan.substrate_kg,
        bands={
            Quantity.HUMIDITY: Band(
                LOW_PCT, HIGH_PCT, None, ALARM_LOW_PCT, ALARM_HIGH_PCT, "invented"
            ),
            Quantity.TEMPERATURE: Band(
                site.low_c, site.high_c, None, site.low_c - ALARM_K, site.high_c + ALARM_K, "invented"
            ),
            Quantity.CO2: Band(None, HIGH_PPM, None, None, ALARM_PPM, "invented"),
        },
        fresh_air_ach=0.0 if site.kind is SpaceKind.OPEN else 2.0,
        intake=IntakeSettings(), light=None, combine={}, leak_ach=site.leak_ach_told,
    )  # fmt: skip
    return FarmSettings(
        name="Invented farm", zone=UTC, spaces={space.id: space},
        sensors={sensor.id: sensor for sensor in _sensors(site, calibrated)},
        relays={relay.id: relay for relay in _relays(site, right_labels)},
        programmes={programme.id: programme for programme in _programmes(site)},
        alarms=AlarmSettings({}, {1: 300_000, 2: 1_200_000, 3: 14_400_000}),
    )  # fmt: skip
