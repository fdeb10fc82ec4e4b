"""What an earlier fit foresaw of each reading since, and how far off readings may be."""
