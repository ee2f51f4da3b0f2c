"""One stop and what it was worth."""
