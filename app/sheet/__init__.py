"""The screen of the boards that a lot's photos show, each once, and how to correct it."""
