"""Small pictures for pages: one statement each, wide enough for a phone."""
