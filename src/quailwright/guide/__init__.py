"""What to do: the care of Coturnix as rules, the day's round, and what looks wrong."""
