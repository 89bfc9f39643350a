"""Layout to routes: every way through, and why two routes conflict.

Reads the layout and the tree's route lines; knows nothing of locking rules.
"""
