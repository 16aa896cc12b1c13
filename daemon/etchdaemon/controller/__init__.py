"""The controller's protocol: bytes in and events out, without a port or a clock."""
