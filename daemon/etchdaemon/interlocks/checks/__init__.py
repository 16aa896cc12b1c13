"""What the box's wiring can show: gaps, tests of contacts, relay and outputs."""
