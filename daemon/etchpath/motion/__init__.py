"""How long moves take, and which way the head goes."""
