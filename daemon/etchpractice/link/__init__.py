"""What lies between the machine and whoever opens its port."""
