"""Alerts: what happened is told to people who do not look at the page, by webhook and by mail."""
