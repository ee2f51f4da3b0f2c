"""The campaign commands as a process of their own, as the command line runs them."""

import argparse
import sys

from slipbench.commands.campaign import add_parsers
from slipbench.commands.parser import Commands
from slipbench.ground.errors import InputError


def main() -> int:
    parser = argparse.ArgumentParser()
    add_parsers(Commands(parser))
    arguments = parser.parse_args()
    try:
        return int(arguments.act(arguments))
    except InputError as problem:
        print(f"slipbench: {problem}", file=sys.stderr)
        return 2
    except KeyboardInterrupt as end:
        print(f"slipbench: interrupted{end}", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())
