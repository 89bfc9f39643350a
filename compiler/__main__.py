"""`python -m bellcrank` is the command `bellcrank`."""

import sys

from bellcrank.cli import main

sys.exit(main())
