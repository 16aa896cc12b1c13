"""When a recipe should be tested again."""
