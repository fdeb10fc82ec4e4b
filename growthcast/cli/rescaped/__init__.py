"""What ``growthcast rescape`` prints for each of its three questions."""
