"""Targets: their description, their templates within bounds, and the files they write."""
