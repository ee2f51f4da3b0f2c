"""What stands under every room: errors, the caution, interrupts, lines of CSV."""
