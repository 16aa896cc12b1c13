"""What the conditions mean: the rule table, its evaluation, the latch and the verdict."""
