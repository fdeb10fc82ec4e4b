"""Pictures of growth against usual."""
