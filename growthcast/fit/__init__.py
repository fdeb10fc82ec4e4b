"""THE INFERENCE: from a book to the posterior of every growth rate and ceiling."""
