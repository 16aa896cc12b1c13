"""Lines over a Unix socket: framing, JSON-RPC messages, and both ends of a connection."""
