"""What the box shows and sounds: lamp, buzzer and heartbeat."""
