"""What happened: the kinds of journal entry, their checks, and the append-only store."""
