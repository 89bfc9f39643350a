"""The machine made to run: evaluated, simulated, searched through.

Knows what the machine says and no rule of its own; no solver and no script enters here.
"""
