"""The machine made to run: one step at a time, by script, or through every state.

Only evaluates what the machine says; knows no rule of its own and no solver.
"""
