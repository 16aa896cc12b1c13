"""Photo files: what is in one, can it be read, and its light, decoded in a locked process."""
