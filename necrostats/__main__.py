"""`python -m necrostats` is the command line."""

import sys

from necrostats.cli import main

sys.exit(main())
