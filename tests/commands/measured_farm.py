"""A small invented farm with one room of 30 m3, for the commands that size and measure."""

from pathlib import Path

FARM = """\
farm: {{name: Invented farm, zone: UTC, advise_only: no}}
broker: {{host: 127.0.0.1, port: {port}, client_id: under-test}}
spaces:
  room:
    name: Room
    kind: room
    walk_in: yes
    volume_m3: 30
    crop: {{species: grey-oyster, stage: fruiting, kg: 100}}
    intake: {{temperature: 10, humidity: 60, co2: 425}}
  shed:
    name: Shed
    kind: open
    walk_in: yes
    volume_m3: 300
    crop: {{species: shiitake, stage: fruiting, kg: 100}}
sensors:
  room-rh:
    {{space: room, zone: middle, quantity: humidity, unit: "%", topic: t/air, format: json, path: /rh,
     seq: /n, every: {every}, calibrated: yes}}
  room-temp:
    {{space: room, zone: middle, quantity: temperature, unit: degC, topic: t/air, format: json, path: /t,
     seq: /n, every: {every}}}
  room-co2:
    {{space: room, zone: middle, quantity: co2, unit: ppm, topic: t/air, format: json, path: /co2, seq: /n,
     every: {every}}}
  room-door:
    {{space: room, quantity: door, topic: t/door, format: words, words: {{open: open, closed: closed}},
     every: 60 s}}
relays:
  room-mist:
    {{space: room, role: mist, driver: mqtt, litres_per_h: 12, pulse: 8 s, pulse_gap: 60 s,
     command: {{topic: t/mist/set, on: '{{"on": true, "for": {{seconds}}}}', off: '{{"on": false}}'}}}}
  room-fan:
    {{space: room, role: fan, driver: mqtt, air_m3_per_h: 120,
     command: {{topic: t/fan/set, on: '{{"on": true, "for": {{seconds}}}}', off: '{{"on": false}}'}}}}
"""


def written(folder: Path, port: int = 1883, every: str = "30 s") -> Path:
    path = folder / "farm.yaml"
    path.write_text(FARM.format(port=port, every=every), encoding="utf-8")
    return path
