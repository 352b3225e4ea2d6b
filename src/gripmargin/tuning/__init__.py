"""How fast a program may be: one factor, a factor a move, a new time law, a better grasp."""
