"""One question a file, like a lab notebook: `python -m slipbench.experiments.<question>`."""
