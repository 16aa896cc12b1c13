"""What is measured: the level of each input, and the condition it stands for."""
