"""Whether a cleaning move cleans all of the pads, and what their cleaner has to withstand."""
