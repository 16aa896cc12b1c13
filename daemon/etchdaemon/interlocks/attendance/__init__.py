"""Who attends to the machine: watch rounds during an etch, looks after its end."""
