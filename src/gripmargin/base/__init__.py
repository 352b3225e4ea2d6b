"""Arrays, errors, units and poses: what every room builds on."""
