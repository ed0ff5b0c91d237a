"""The basis of measurements: scale targets, camera geometry, thickness, uncertain inputs."""
