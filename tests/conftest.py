"""What holds for all tests."""

from __future__ import annotations

import gc
import os

import pytest
from hypothesis import settings

# A check before landing must not depend on luck: there the same examples are
# tried each time. Elsewhere new ones are, and what they find becomes a test.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("default", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "default")

# What is proved in a test must not depend on what others have proved before.
os.environ["BELLCRANK_KEPT"] = "no"

# How wide the terminal of whoever runs the tests is must not show in what they read.
os.environ.pop("COLUMNS", None)


# To look for rings of garbage after every 700 new objects costs some hundredths of the time.
gc.set_threshold(20_000, 10, 10)


def pytest_collection_finish(session: pytest.Session) -> None:
    """What has been loaded and collected stays: it is not looked through again and again."""
    gc.collect()
    gc.freeze()


def pytest_xdist_auto_num_workers() -> int:
    """With `-n auto`, one worker more than processors: some tests wait for peers and clocks."""
    return (os.cpu_count() or 1) + 1


# Brokers and lines to send to, and templates that run here, for tests of several rooms.
pytest_plugins = ["peer_fixtures", "render_here"]
