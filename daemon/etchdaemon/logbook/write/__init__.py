"""What is written: entries, their queue, and the thread that owns the connection."""
