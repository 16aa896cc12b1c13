"""The way of a newcomer from a box that knows nothing to the first picture."""
