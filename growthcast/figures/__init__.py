"""THE PICTURES: take results, return Axes."""
