"""A book begun: typed shortly, taken from a sheet or from old notes; what is open is proposed."""
