"""THE SCIENCE: arrays in, arrays out. No files, no calendar."""
