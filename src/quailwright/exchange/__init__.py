"""In and out: the invented demo, and files that come and go."""
