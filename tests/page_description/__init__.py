"""The page's addresses as an OpenAPI 3.1 description, written by hand beside the code."""
