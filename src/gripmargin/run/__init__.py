"""One job in, one report out; many jobs; reports against approved ones; margins inside a simulation loop."""
