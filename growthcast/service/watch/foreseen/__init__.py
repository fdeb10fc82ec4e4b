"""What was foreseen of each reading, how far off readings may be, and which do not belong."""
