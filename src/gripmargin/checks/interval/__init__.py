"""How many picks the pads may make between two cleanings."""
