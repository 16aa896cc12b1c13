"""*Logbook*: etches, charts and verdicts."""
