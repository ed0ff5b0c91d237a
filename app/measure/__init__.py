"""Photos: their scale, what was found in them, and corrections."""
