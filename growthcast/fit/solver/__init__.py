"""The solver: linearised chains, a Kalman filter along them, pooling above them."""
