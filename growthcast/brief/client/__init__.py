"""The brief: a client's tanks on one page."""
