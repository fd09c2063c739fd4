"""Thermostat, judge and gate: the only road from a wish to a relay."""
