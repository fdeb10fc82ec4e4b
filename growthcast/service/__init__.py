"""THE ADVICE: visit intervals, cuts, time and money."""
