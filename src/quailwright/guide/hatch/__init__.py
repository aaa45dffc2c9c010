"""One hatch: the humidity to set, when chicks come, and why it went as it did."""
