"""Photos: their scale, the findings, and corrections."""
