"""VISIT: a visit in one short line, read into rows and said back in words."""
