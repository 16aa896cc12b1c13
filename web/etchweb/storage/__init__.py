"""What the page keeps on the card, and for how long."""
