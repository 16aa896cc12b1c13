"""Pictures of jobs."""
