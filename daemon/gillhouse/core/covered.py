"""Whether something else holds a space while one of its sensors is silent.

Here: the question alone. Not here: the alarm (`watch`), the fallback itself (`space`). A silent sensor nobody
needs tonight is a line in the digest, not a call: another sensor of the same air is good, or the timed
programmes that step in for it exist and their relays are proved to follow.
"""

from gillhouse.core.echo import Proof, proof
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.quality import drives
from gillhouse.core.settings import Role, SensorSettings, When
from gillhouse.core.space import steering
from gillhouse.core.space_plan import AIR_QUANTITIES


def covered_by(plan: Plan, state: State, sensor: SensorSettings) -> str:
    """The sensor or programmes that hold in its place; empty: nothing does."""
    own = plan.spaces.get(plan.sensor_space.get(sensor.id, ""))
    if own is None or sensor.quantity not in AIR_QUANTITIES:
        return ""
    for other in own.sensors[sensor.quantity]:
        if other.id != sensor.id and drives(state.sensors[other.id]):
            return other.id
    steered = [role for role in dict.fromkeys(own.relays.values()) if _needs(plan, sensor, role)]
    found = [_fallback(plan, state, sensor, role) for role in steered]
    return ", ".join(found) if found and all(found) else ""


def _needs(plan: Plan, sensor: SensorSettings, role: Role) -> bool:
    own = plan.spaces[plan.sensor_space[sensor.id]]
    return any(one.id == sensor.id for one in steering(own, role))


def _fallback(plan: Plan, state: State, sensor: SensorSettings, role: Role) -> str:
    """The programme that steps in for a role, if every relay of it is proved to follow; else empty."""
    space = plan.sensor_space[sensor.id]
    now = Instant(state.wall_ms, state.mono_ms)
    relays = [relay for relay, its_role in plan.spaces[space].relays.items() if its_role is role]
    proved = all(
        proof(now, plan.settings.relays[relay], state.relays[relay]) is Proof.FOLLOWED for relay in relays
    )
    for programme in plan.settings.programmes.values():
        if (programme.space, programme.role, programme.when) == (space, role, When.FALLBACK) and proved:
            return programme.id
    return ""
