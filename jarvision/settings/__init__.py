"""Every threshold: its value, unit, range and reason."""
