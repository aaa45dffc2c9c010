"""Notices: what is worth a message at night, when it begins, and when it is over."""
