"""`python -m etholog` is the command line."""

import sys

from etholog.commands import main

sys.exit(main())
