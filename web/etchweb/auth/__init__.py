"""Phones: pairing them, telling them apart, and what each may do."""
