"""How far a part that bends droops."""
