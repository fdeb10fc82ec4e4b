"""What looks and whole tanks' weights say, as readings of their own."""
