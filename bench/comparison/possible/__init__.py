"""How short a stop has been found to be, knowing everything, beside the floor nobody can beat."""
