"""Sensors to quantities."""
