"""*Test tiles*: laid out, read and chosen from."""
