"""The commands `backup` and `mend`: keep a campaign's file safe."""

from __future__ import annotations

import argparse

from slipbench.commands.parser import COMPARE, Commands
from slipbench.results.files import named_path


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    backup = commands.add_parser(
        "backup", group=COMPARE, help="copy a campaign file, also while it is being written"
    )
    backup.add_argument("campaign", metavar="CAMPAIGN", help="campaign file")
    backup.add_argument("--to", required=True, metavar="FILE", help="the copy, a new file")
    backup.set_defaults(act=backup_command)
    mend = commands.add_parser(
        "mend", group=COMPARE, help="copy the intact stops of a damaged campaign, name the others"
    )
    mend.add_argument("campaign", metavar="CAMPAIGN", help="campaign file; stays as it is")
    mend.add_argument("--to", required=True, metavar="FILE", help="the copy, a new file")
    mend.set_defaults(act=mend_command)


def backup_command(arguments: argparse.Namespace) -> int:
    """Copy a campaign, running or not."""
    source, target = named_path(arguments.campaign, "CAMPAIGN"), named_path(arguments.to, "--to")
    from slipbench.campaign.keeping import backup

    n_stops = backup(source, target)
    print(f"{n_stops} stops copied to {target}, complete in this one file")
    return 0


def mend_command(arguments: argparse.Namespace) -> int:
    """Copy what is intact of a campaign."""
    source, target = named_path(arguments.campaign, "CAMPAIGN"), named_path(arguments.to, "--to")
    from slipbench.campaign.keeping import mend

    print(f"{mend(source, target).text()}\nwritten: {target}")
    return 0
