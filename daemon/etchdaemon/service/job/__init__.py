"""Jobs handed in: kept, checked, and held against the machine."""
