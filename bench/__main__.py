"""The command line as a module: `python -m slipbench`."""

import sys

from slipbench.commands.main import main

if __name__ == "__main__":
    sys.exit(main())
