"""`python -m bellcrank` is the command `bellcrank`."""

import sys

from bellcrank.commands.start import main

sys.exit(main())
