"""What the owner of a box writes down about it, read and checked: pure but for one file."""
