"""How a sled falls, springs a line taut and bounces, solved as equations of motion."""
