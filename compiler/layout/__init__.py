"""Tree to layout: names resolved, track joined up, hardware wired.

Reads the syntax tree; knows nothing of routes or locking.
"""
