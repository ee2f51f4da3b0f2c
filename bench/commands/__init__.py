"""Every command of the line: thin."""
