"""One run of a job, from its lines to its record, and how it ends."""
