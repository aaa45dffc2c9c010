"""What to decide: which eggs to set, when and from whom."""
