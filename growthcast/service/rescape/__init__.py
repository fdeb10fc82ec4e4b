"""THE ADVICE before a rescape: plants, layouts and swaps compared for one tank."""
