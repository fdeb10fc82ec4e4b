"""What a practice's tanks teach about its other tanks."""
