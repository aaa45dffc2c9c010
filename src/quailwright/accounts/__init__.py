"""What it costs: the journal's money shared out among the birds, and what an egg or a hen comes to."""
