"""From log rows to chains of canopy stages, and the clock that drives them."""
