"""The motion controller in simulated time: lines and real-time bytes in, answers and steps out."""
