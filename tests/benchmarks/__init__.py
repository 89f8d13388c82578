"""conegap beside general-purpose solvers: error, time, memory and growth on the same problems."""
