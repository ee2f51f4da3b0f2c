"""What several strategies share: references, filters, plausibility, forces and valves."""
