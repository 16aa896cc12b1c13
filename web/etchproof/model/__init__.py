"""What readings say of surface and laser: response, tone curve, register."""
