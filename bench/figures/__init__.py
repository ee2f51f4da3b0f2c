"""Every picture. Modules here import matplotlib; nothing else of the bench does."""
