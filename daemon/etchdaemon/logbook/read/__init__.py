"""What is read: plain values, as they go over the wire."""
