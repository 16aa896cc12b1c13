"""The boxes of a shop: each reports to a broker, and a page shows what the broker knows of all."""
