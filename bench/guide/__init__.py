"""The handbook: pages, what is generated in them, and the book they make."""
