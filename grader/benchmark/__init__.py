"""Time of everything that a user waits for: ``python -m grader.benchmark``."""
