"""One question a file, written like a lab notebook: `python -m experiments.<question>`."""
