"""`notices`: by which rules the household is told, what was told, a test."""
