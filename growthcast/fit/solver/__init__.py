"""The solver: linearised chains, sweeps along them, pooling above them."""
