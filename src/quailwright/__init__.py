"""Plan, do, measure and learn with a small flock of Coturnix quail."""

__version__ = "0.1.0"
