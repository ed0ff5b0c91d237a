"""What weighed gold taught."""
