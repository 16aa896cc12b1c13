"""The etch under way: watched, held, stopped, made lighter or darker."""
