"""What the processes of the house say to each other."""
