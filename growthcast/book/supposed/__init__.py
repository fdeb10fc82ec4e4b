"""What might be: changes and layouts that a person puts to the tool, read and checked."""
