"""``python -m growthcast`` is the command ``growthcast``."""

from growthcast.cli.main import program

program()
