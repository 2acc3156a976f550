"""Ports, the port process, assembling, pacing and the standard's universal messages. Knows no chart."""
