"""One visit, one day to shine, one absence: what to cut at which visit."""
