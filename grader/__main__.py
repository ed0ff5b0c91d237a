"""``python -m grader`` is the same as ``grader``."""

from grader.cli import main

if __name__ == "__main__":
    main()
