"""What the model says: the growth clock, drift, errors, looks, an area's posterior by name."""
