"""Locking to verdict: obligations, solvers, what is wrong and what is missing.

Reads the layout, the routes and the locking; whatever it calls proved, a
solver has found to be without counterexample for this very layout.
"""
