"""`python -m bellcrank` is the command `bellcrank`."""

import sys

from bellcrank.start import main

sys.exit(main())
