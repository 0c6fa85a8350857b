"""Rigid bodies, mounts, statics and modes: what the engine sits on."""
