"""*Test cards*: laid out, read and chosen from."""
