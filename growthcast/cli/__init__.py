"""THE DOOR: one file a command, thin over the library."""
