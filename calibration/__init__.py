"""What makes a measurement comparable: scale targets, camera geometry, colour reference, plating thickness."""
