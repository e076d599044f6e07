"""Sensors to quantities: sensor maps, checks of sign and unit, moments and rotations."""
