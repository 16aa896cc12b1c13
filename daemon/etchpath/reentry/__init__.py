"""The rest of a job after a cut."""
