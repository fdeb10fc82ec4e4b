"""DESK: the practice in a browser, and the visit on a phone."""
