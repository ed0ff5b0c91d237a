"""Whether a photo should be taken again, and how: told before any number."""

from grader.photo_advice.how import HOW, How
from grader.photo_advice.model import CHECKS, Check, CheckName

__all__ = ["CHECKS", "HOW", "Check", "CheckName", "How"]
