"""The parts that touch the world: serial port, pins, clock, service manager."""
