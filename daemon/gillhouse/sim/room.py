"""One fruiting space as physics: air, water, carbon dioxide and heat, a step of two seconds at a time.

How it works: one well-mixed air node (temperature, humidity ratio, CO2), drops in the air, a film of water
on the crop and one on floor and walls, the structure's and the substrate's temperature. `Room.step` takes
all rates from the state before the step (explicit Euler; the drops, which are faster than a step, exactly).
Plain floats and one flat state: a night of 21,600 steps takes well under a second.

A ledger of everything that crossed the walls is kept beside the state, so a test can close the balances.

Sources. Single-zone leakage with stack and wind: Sherman and Grimsrud, LBL-10163, 1980 (abstract; coefficient
sizes from memory). CO2 of one mixed zone: Batterman, Int. J. Environ. Res. Public Health 14:145, 2017. A cap
evaporates like a free water surface: San Antonio and Flegg, Am. J. Bot., 1964 (abstract); rates between 0.14
and 2.5 mg/cm2 h: Mahajan et al., J. Food Eng., 2008 (abstract). Heat of respiration 10.7 kJ per g CO2, the
glucose value. Drops: d-squared law with Sh = 2, Stokes settling. Door: Lidwell, J. Hyg. 79, 1977 (abstract:
exchange grows with the root of the temperature difference). All sizes of parts are invented.
Not here: who switches what (`plant`), what a sensor makes of it (`sensors`).
"""

from dataclasses import dataclass
from math import exp, sqrt

from gillhouse.sim.moist import (
    AIR_J_KGK,
    AIR_KG_M3,
    LATENT_J_KG,
    humidity_pct,
    ratio_of,
    saturation_ratio,
    saturation_ratio_slope,
)

STEP_S = 2.0
RESPIRATION_J_G = 10_700.0
"""Heat per gram of CO2 breathed out: glucose burnt (2803 kJ/mol over 6 mol of CO2)."""
CO2_G_PER_L = 1.83
"""Mass of a litre of CO2 at about 20 C."""
SUBSTRATE_J_KGK = 3_000.0
DIFFUSION_M2_S = 2.5e-5
"""Water vapour in air at about 20 C."""
WATER_KG_M3 = 1_000.0
STOKES_PER_MS = 3.0e7
"""Fall speed of a small water drop in air: this times the diameter squared, SI."""
COIL_C = 7.0
"""Surface of a cooler's coil; it wrings water out of air whose dew point is higher [invented]."""


@dataclass(frozen=True, slots=True)
class RoomPlan:
    """A space's size and make. Every figure is an invented example inside the ranges of its source."""

    volume_m3: float
    leak_m2: float
    """Effective leakage area; for an open space its openings times the net's discharge coefficient."""
    shell_m2: float
    """Inner surface of walls, floor and roof."""
    shell_w_m2k: float
    """Heat through the shell, per square metre of it."""
    structure_j_k: float
    substrate_kg: float
    crop_m2: float
    """Evaporating surface of the mushrooms."""
    floor_m2: float
    breath_g_kgh: float
    """CO2 per kg of substrate and hour at 16 C, before `stage` [0.03 to 0.30]."""
    stage: float = 1.0
    """Where the flush stands [0.4 to 1.8]."""
    q10: float = 2.5
    stack_m2_s2k: float = 0.015
    wind_share: float = 0.010
    air_factor: float = 3.0
    """Shelves and bag skins move with the air: its heat capacity times this [2 to 5]."""
    wall_w_m2k: float = 4.0
    """Between air and shell."""
    skin_w_k: float = 20.0
    """Between air and substrate, whole."""
    crop_w_m2k: float = 4.5
    """Between air and caps in still air [3 to 6]."""
    crop_fan_w_m2k: float = 3.0
    """More of it while a fan moves the air [2 to 6]."""
    crop_core_w_m2k: float = 3.0
    """Between caps and substrate [1 to 5]."""
    drop_um: float = 45.0
    fall_m: float = 2.0
    cone: float = 0.65
    """The spray cone is damper than the room: evaporation times this [0.4 to 0.9]."""
    crop_share: float = 0.30
    """Of the fall-out, what lands on the crop [0.20 to 0.45]."""
    crop_film_kg_m2: float = 0.15
    """More than this drips off."""
    floor_film_kg_m2: float = 1.5
    """More than this drains."""
    heater_lag_s: float = 120.0
    door_m3_s: float = 0.15
    """Exchange through the open door at 4 K difference [0.05 to 0.5]."""
    floor_wet_kg_m2: float = 0.05
    """Film at which all of the floor is wet."""


@dataclass(slots=True)
class Outside:
    """The air beyond the shell: outdoors, or the house a tent stands in."""

    temperature_c: float
    ratio: float
    co2_ppm: float
    wind_m_s: float = 0.0
    sun_w: float = 0.0
    """On the structure, whole."""


@dataclass(slots=True)
class Drive:
    """What equipment and people do to the space just now."""

    fan_m3_s: float = 0.0
    mist_kg_s: float = 0.0
    vapour_kg_s: float = 0.0
    """Of an ultrasonic fogger: drops so fine that all of them evaporate before they land."""
    heater_w: float = 0.0
    cooler_w: float = 0.0
    other_w: float = 0.0
    """Lamps and motors."""
    moving: bool = False
    """A fan moves the air over the crop."""
    door_open: bool = False


@dataclass(slots=True)
class Ledger:
    """What crossed the space's walls since the start."""

    sprayed_kg: float = 0.0
    air_kg: float = 0.0
    """Vapour the air brought in, less what it took out."""
    crop_kg: float = 0.0
    """Water the caps gave of themselves."""
    drained_kg: float = 0.0
    blown_kg: float = 0.0
    """Drops blown out before they evaporated."""
    coil_kg: float = 0.0
    """Water wrung out by the cooler."""
    heat_j: float = 0.0
    """Sensible and latent heat that came in, less what went out."""
    co2_litres: float = 0.0
    """Breathed out by the batch, plus what the air brought in, less what it took out."""
    flown_kg: float = 0.0
    """Drops that evaporated in flight."""
    fallen_kg: float = 0.0


class Room:  # over 12 methods: one flat state is what makes a step fast, and each part of the step has a name
    """The state of one space, and its step."""

    __slots__ = (
        "_air_j_k",
        "_air_kg",
        "_cap_e",
        "_coil",
        "_drop_e",
        "_floor_e",
        "_flow_m3_s",
        "_ratio_full",
        "_slope",
        "co2_ppm",
        "crop_film_kg",
        "drive",
        "drops_kg",
        "floor_film_kg",
        "heater_w",
        "ledger",
        "outside",
        "plan",
        "ratio",
        "structure_c",
        "substrate_c",
        "temperature_c",
    )

    def __init__(self, plan: RoomPlan, outside: Outside, temperature_c: float, humidity: float) -> None:
        """
        Args:
            temperature_c: air, shell and substrate at the start.
            humidity: of the air at the start, %.
        """
        self.plan = plan
        self.outside = outside
        self.drive = Drive()
        self.ledger = Ledger()
        self.temperature_c = self.structure_c = self.substrate_c = temperature_c
        self.ratio = ratio_of(temperature_c, humidity)
        self.co2_ppm = outside.co2_ppm
        self.drops_kg = self.crop_film_kg = self.floor_film_kg = self.heater_w = 0.0
        self._air_kg = AIR_KG_M3 * plan.volume_m3
        self._air_j_k = self._air_kg * AIR_J_KGK * plan.air_factor

    @property
    def humidity_pct(self) -> float:
        """True relative humidity of the air, at most 100."""
        return min(100.0, humidity_pct(self.temperature_c, self.ratio))

    @property
    def crop_film_g_m2(self) -> float:
        """Free water on the caps."""
        return 1000.0 * self.crop_film_kg / self.plan.crop_m2 if self.plan.crop_m2 else 0.0

    def water_kg(self) -> float:
        """All water in the space that can move: vapour, drops, films."""
        return self._air_kg * self.ratio + self.drops_kg + self.crop_film_kg + self.floor_film_kg

    def heat_j(self) -> float:
        """Sensible heat above 0 C of air, structure and substrate, plus the vapour's latent heat."""
        return (
            self._air_j_k * self.temperature_c
            + self.plan.structure_j_k * self.structure_c
            + self.plan.substrate_kg * SUBSTRATE_J_KGK * self.substrate_c
            + LATENT_J_KG * self._air_kg * self.ratio
        )

    def flow_m3_s(self) -> float:
        """Air exchange: leakage and fan in quadrature (an unbalanced fan; from memory), plus the door."""
        plan, out = self.plan, self.outside
        apart_k = abs(out.temperature_c - self.temperature_c)
        leak = plan.leak_m2 * sqrt(plan.stack_m2_s2k * apart_k + plan.wind_share * out.wind_m_s**2)
        fan = self.drive.fan_m3_s
        flow = sqrt(leak * leak + fan * fan)
        if self.drive.door_open:
            flow += plan.door_m3_s * sqrt(max(apart_k, 0.5) / 4.0)
        return flow

    def breath_g_h(self) -> float:
        """CO2 the batch breathes out."""
        plan = self.plan
        warm: float = plan.q10 ** ((self.substrate_c - 16.0) / 10.0)
        return plan.substrate_kg * plan.breath_g_kgh * plan.stage * warm

    def step(self, seconds: float = STEP_S) -> None:
        """Moves the space on by `seconds`, at most a few."""
        self._flow_m3_s = self.flow_m3_s()
        self._ratio_full = saturation_ratio(self.temperature_c)
        self._slope = saturation_ratio_slope(self.temperature_c, self._ratio_full)
        self._drop_e = self._spray(seconds) + self.drive.vapour_kg_s
        self.ledger.sprayed_kg += self.drive.vapour_kg_s * seconds
        cap_w, self._cap_e = self._caps(seconds)
        self._floor_e = self._floor(seconds)
        self._coil = self._coil_kg_s()
        self._breathe_and_heat(seconds, cap_w)
        self._exchange_water(seconds)

    def _spray(self, seconds: float) -> float:
        """Drops for one step, solved exactly. Returns what evaporated in flight, kg/s."""
        new_kg_s = self.drive.mist_kg_s
        if not new_kg_s and self.drops_kg < 1e-9:
            return 0.0
        plan, book = self.plan, self.ledger
        dry = max(0.0, self._ratio_full - self.ratio)
        beta = 1.0 / (1.0 + LATENT_J_KG * self._slope / AIR_J_KGK)
        d2 = (plan.drop_um * 1e-6) ** 2
        vanish = 12.0 * DIFFUSION_M2_S * AIR_KG_M3 * dry * beta * plan.cone / (WATER_KG_M3 * d2)
        settle = STOKES_PER_MS * d2 / plan.fall_m
        blow = self._flow_m3_s / plan.volume_m3
        every = vanish + settle + blow
        left = exp(-every * seconds)
        rest = self.drops_kg * left + new_kg_s / every * (1.0 - left)
        gone = self.drops_kg + new_kg_s * seconds - rest
        self.drops_kg = rest
        book.sprayed_kg += new_kg_s * seconds
        book.blown_kg += gone * blow / every
        flown, fallen = gone * vanish / every, gone * settle / every
        book.flown_kg += flown
        book.fallen_kg += fallen
        self.crop_film_kg += fallen * plan.crop_share
        self.floor_film_kg += fallen * (1.0 - plan.crop_share)
        return flown / seconds

    def _caps(self, seconds: float) -> tuple[float, float]:
        """The crop's surface: heat it draws from air and substrate, one linearisation.

        Returns heat drawn from the air, W, and water evaporated, kg/s (negative: condensed).
        """
        plan = self.plan
        h = plan.crop_w_m2k + (plan.crop_fan_w_m2k if self.drive.moving else 0.0)
        k = plan.crop_core_w_m2k
        mean_c = (h * self.temperature_c + k * self.substrate_c) / (h + k)
        full = saturation_ratio(mean_c)
        latent = LATENT_J_KG * h / AIR_J_KGK
        cooler_k = latent * (full - self.ratio) / (h + k + latent * saturation_ratio_slope(mean_c, full))
        cap_c = mean_c - cooler_k
        gone = plan.crop_m2 * (h + k) * cooler_k / LATENT_J_KG
        core_w = k * plan.crop_m2 * (cap_c - self.substrate_c)
        self.substrate_c += seconds * core_w / (plan.substrate_kg * SUBSTRATE_J_KGK)
        film = self.crop_film_kg - gone * seconds
        if film < 0.0:
            self.ledger.crop_kg -= film
            film = 0.0
        most = plan.crop_film_kg_m2 * plan.crop_m2
        if film > most:
            self.floor_film_kg += film - most
            film = most
        self.crop_film_kg = film
        return h * plan.crop_m2 * (self.temperature_c - cap_c), gone

    def _floor(self, seconds: float) -> float:
        """Film on floor and walls. Returns what evaporated, kg/s (negative: condensed on the shell)."""
        plan = self.plan
        dry = saturation_ratio(self.structure_c) - self.ratio
        if dry > 0.0:
            wet = min(1.0, self.floor_film_kg / (plan.floor_wet_kg_m2 * plan.floor_m2))
            gone = plan.wall_w_m2k / AIR_J_KGK * plan.floor_m2 * wet * dry
            gone = min(gone, self.floor_film_kg / seconds)
        else:
            gone = plan.wall_w_m2k / AIR_J_KGK * plan.shell_m2 * dry
        film = self.floor_film_kg - gone * seconds
        most = plan.floor_film_kg_m2 * plan.floor_m2
        if film > most:
            self.ledger.drained_kg += film - most
            film = most
        self.floor_film_kg = film
        self.structure_c -= seconds * LATENT_J_KG * gone / plan.structure_j_k
        return gone

    def _coil_kg_s(self) -> float:
        """Water a cooler wrings out: its power is shared by what the air offers above the coil's surface."""
        if not self.drive.cooler_w:
            return 0.0
        sensible = AIR_J_KGK * max(0.5, self.temperature_c - COIL_C)
        latent = LATENT_J_KG * max(0.0, self.ratio - saturation_ratio(COIL_C))
        return self.drive.cooler_w * latent / (sensible + latent) / LATENT_J_KG

    def _breathe_and_heat(self, seconds: float, cap_w: float) -> None:
        """CO2 and the three temperatures; the air pays for the drops' evaporation."""
        plan, out, drive, book = self.plan, self.outside, self.drive, self.ledger
        breath_g_s = self.breath_g_h() / 3600.0
        breath_l_s = breath_g_s / CO2_G_PER_L
        swapped_l_s = self._flow_m3_s * (out.co2_ppm - self.co2_ppm) / 1000.0
        book.co2_litres += (breath_l_s + swapped_l_s) * seconds
        self.co2_ppm += (breath_l_s + swapped_l_s) * 1000.0 / plan.volume_m3 * seconds

        self.heater_w += (drive.heater_w - self.heater_w) * (1.0 - exp(-seconds / plan.heater_lag_s))
        air_c, wall_c, core_c = self.temperature_c, self.structure_c, self.substrate_c
        swapped_w = self._flow_m3_s * AIR_KG_M3 * AIR_J_KGK * (out.temperature_c - air_c)
        wall_w = plan.wall_w_m2k * plan.shell_m2 * (wall_c - air_c)
        skin_w = plan.skin_w_k * (core_c - air_c)
        coil_w = drive.cooler_w - self._coil * LATENT_J_KG
        added_w = self.heater_w + drive.other_w
        shell_w = plan.shell_w_m2k * plan.shell_m2 * (out.temperature_c - wall_c) + out.sun_w
        breath_w = breath_g_s * RESPIRATION_J_G
        air_w = swapped_w + wall_w + skin_w - cap_w + added_w - coil_w - LATENT_J_KG * self._drop_e
        self.temperature_c += seconds * air_w / self._air_j_k
        self.structure_c += seconds * (shell_w - wall_w) / plan.structure_j_k
        self.substrate_c += seconds * (breath_w - skin_w) / (plan.substrate_kg * SUBSTRATE_J_KGK)
        book.heat_j += seconds * (swapped_w + added_w + shell_w + breath_w - drive.cooler_w)

    def _exchange_water(self, seconds: float) -> None:
        """Vapour; what is more than saturated air can hold becomes drops, and warms the air."""
        swapped = self._flow_m3_s * AIR_KG_M3 * (self.outside.ratio - self.ratio)
        gain = swapped + self._drop_e + self._cap_e + self._floor_e - self._coil
        self.ratio += seconds * gain / self._air_kg
        self.ledger.air_kg += swapped * seconds
        self.ledger.coil_kg += self._coil * seconds
        self.ledger.heat_j += swapped * LATENT_J_KG * seconds
        full = saturation_ratio(self.temperature_c)
        if self.ratio > full:
            heat_ratio = LATENT_J_KG * self._air_kg / self._air_j_k
            fog = (self.ratio - full) / (1.0 + heat_ratio * saturation_ratio_slope(self.temperature_c, full))
            self.ratio -= fog
            self.drops_kg += fog * self._air_kg
            self.temperature_c += fog * heat_ratio
