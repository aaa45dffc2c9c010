"""What stands now: the journal folded into places, hatches, groups, eggs, feed and money. Pure."""
