"""Reading cards: from photos, or from marks made by hand, to what a card showed."""
