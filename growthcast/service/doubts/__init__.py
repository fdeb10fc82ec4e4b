"""DOUBTS: what a person has just typed, held against what the log foretold for that day."""
