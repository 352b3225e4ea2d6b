"""Pads on their elastic backing: where they touch, how a load spreads, how much each place can hold."""
