"""THE ROUNDS: a visit calendar for the whole practice, and what it loses where hours are short."""
