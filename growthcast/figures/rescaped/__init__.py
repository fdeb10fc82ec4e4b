"""Pictures of what ``growthcast rescape`` answers."""
