"""The command line: reads arguments, runs the stages, prints what they found."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn

from rich.console import Console, RenderableType
from rich.text import Text

from bellcrank.compilation import Compilation, compile_file
from bellcrank.diagnostics import Collector, as_json, render
from bellcrank.emit.document import (
    NOTICE,
    conflict_data,
    document,
    layout_data,
    route_data,
    verdict_data,
)
from bellcrank.emit.files import write_files
from bellcrank.emit.tables import (
    WIDTH,
    conflict_matrix,
    control_table,
    route_text,
    verdict_text,
    why_text,
)
from bellcrank.emit.target import TargetError, built_in_targets, load_target, render_target
from bellcrank.explain import explain_code, known_codes
from bellcrank.machine.commands import route_commands
from bellcrank.routes.derive import by_start
from bellcrank.routes.model import Route
from bellcrank.routes.naming import find_route
from bellcrank.syntax import tree as t
from bellcrank.syntax.format import format_source
from bellcrank.syntax.load import load_file
from bellcrank.syntax.parse import parse
from bellcrank.version import __version__

PROVED, REFUTED, FAULTY, UNDECIDED = 0, 1, 2, 3

_STATUS = {"proved": PROVED, "refuted": REFUTED, "undecided": UNDECIDED}
