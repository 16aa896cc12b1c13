"""*Bench*: several pictures laid into the pockets of a jig, to be etched in one run."""
