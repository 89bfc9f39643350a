"""Lets the tests here import the generator of random layouts beside this folder."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
