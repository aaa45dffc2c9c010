"""What it costs: the journal's money shared out among the birds, and what things come to."""
