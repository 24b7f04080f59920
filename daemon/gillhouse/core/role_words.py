"""How a grower says what a relay switches. One table for the card, the night and the why-trail."""

from gillhouse.core.settings import Role

ROLE_WORD: dict[Role, str] = {
    Role.MIST: "mist",
    Role.FAN: "fan",
    Role.HEATER: "heater",
    Role.COOLER: "cooler",
    Role.LIGHT: "light",
    Role.CIRCULATION: "stirring fan",
    Role.UV: "UV lamp",
    Role.PUMP: "pump",
    Role.DAMPER: "damper",
    Role.MASTER: "master valve",
    Role.ALARM: "alarm relay",
}
