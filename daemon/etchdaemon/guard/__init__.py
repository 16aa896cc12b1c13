"""The interlocks at work: the one place that closes the beam's contact."""
