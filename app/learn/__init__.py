"""What weighed gold has taught."""
