"""What stands on pages, as numbers, before any words."""
