"""The daemon's local interface: JSON-RPC lines on a Unix socket."""
