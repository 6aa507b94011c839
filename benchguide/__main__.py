"""Lets `python -m benchguide` be the command line."""

import sys

from benchguide.cli import main

sys.exit(main())
