"""How long everything takes that a user waits for: ``python -m grader.benchmark``."""
