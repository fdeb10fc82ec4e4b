"""WRITING: the only room that changes a person's files; everything goes through ``replace``."""
