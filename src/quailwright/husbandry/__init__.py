"""What is known of Coturnix quail: published tables and plain functions of them.

Pure: no clock, no files but the tables in the package, no flock.
"""
