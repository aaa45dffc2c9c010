"""`calendar`: what lies ahead, as a file for the calendar of a phone."""
