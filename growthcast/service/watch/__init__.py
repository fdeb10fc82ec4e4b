"""Growth against what was forecast before each visit, and whether something has changed."""
