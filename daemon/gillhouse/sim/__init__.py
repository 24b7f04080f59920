"""The trial run: a room model, boards that talk MQTT, and the lock-step that drives the daemon.

Everything here is invented and says so. Its physics is its own: of `core` it takes the list of quantities,
the settings and the shape of a person's action, never an equation, so that an error there cannot agree with
itself here. It reaches the daemon through MQTT and the service's own door alone, and drives no real relay.
"""
