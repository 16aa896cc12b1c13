"""Test cards: laid out, read, chosen from: pure."""
