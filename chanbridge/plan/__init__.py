"""Channels find their slots."""
