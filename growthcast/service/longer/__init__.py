"""What the next longer interval would cost and what would allow it; how sure the advice is."""
