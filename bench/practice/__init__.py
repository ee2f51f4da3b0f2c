"""The live desk: a trainee holds the handle of a stop that runs in real time."""
