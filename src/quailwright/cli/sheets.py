"""`print`: sheets, cards and labels as PDF."""
