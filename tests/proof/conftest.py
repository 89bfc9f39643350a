"""Lets the tests here import the plain tables and the brute force of tests/outside."""

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[1] / "outside")]
